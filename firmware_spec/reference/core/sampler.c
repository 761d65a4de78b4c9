#include "sampler.h"

#include "button.h"
#include "port.h"

#define WAITING_MOST 4

static struct sample waiting[WAITING_MOST];
static volatile uint8_t first, count;
static struct conversion last;
static volatile bool running, busy, overrun;
static bool counted; /* the conversion under way is a sample that is due */
static uint16_t sequence, own_sequence;

void sampler_reset(void)
{
    first = count = 0;
    sequence = 0;
    running = busy = overrun = counted = false;
    last = (struct conversion){0};
}

/* Samples that were not sent when sampling stopped do not count as due: the sequence goes on where the host last saw it. */
static void take_back(void)
{
    if (count)
        sequence = waiting[first].sequence;
    else if (counted)
        sequence = own_sequence;
    for (; count; count--) {
        if (waiting[first].flags & FLAG_OVERRUN)
            overrun = true;
        first = (uint8_t)((first + 1) % WAITING_MOST);
    }
    counted = false;
}

void sampler_run(bool run)
{
    uint8_t before = port_lock();

    if (running && !run)
        take_back();
    running = run;
    port_unlock(before);
}

bool sampler_running(void)
{
    return running;
}

bool sampler_due(void)
{
    bool start = !busy;

    if (running) {
        if (start)
            own_sequence = sequence;
        else
            overrun = true;
        sequence++;
    }
    if (start)
        counted = running;
    busy = true;
    return start;
}

static void keep(const struct conversion *seen)
{
    struct sample *sample = &waiting[(first + count) % WAITING_MOST];

    if (count == WAITING_MOST) {
        overrun = true;
        return;
    }
    count++;
    *sample = (struct sample){seen->midpoint_us, own_sequence, seen->supply, seen->cylinder, seen->reference, 0};
    if (seen->saturated)
        sample->flags |= FLAG_SATURATED;
    if (button_is_down())
        sample->flags |= FLAG_MARK;
    if (overrun)
        sample->flags |= FLAG_OVERRUN;
    overrun = false;
}

void sampler_done(const struct conversion *conversion)
{
    last = *conversion;
    busy = false;
    if (counted)
        keep(conversion);
    counted = false;
}

void sampler_failed(void)
{
    last = (struct conversion){0};
    busy = false;
    if (counted)
        overrun = true;
    counted = false;
}

bool sampler_take(struct sample *sample)
{
    uint8_t before = port_lock();
    bool any = count > 0;

    if (any) {
        *sample = waiting[first];
        first = (uint8_t)((first + 1) % WAITING_MOST);
        count--;
    }
    port_unlock(before);
    return any;
}

struct conversion sampler_last(void)
{
    uint8_t before = port_lock();
    struct conversion copy = last;

    port_unlock(before);
    return copy;
}
