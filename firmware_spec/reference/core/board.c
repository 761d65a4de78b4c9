#include "board.h"

#include "answers.h"
#include "button.h"
#include "command.h"
#include "errors.h"
#include "frames.h"
#include "light.h"
#include "port.h"
#include "sampler.h"
#include "store.h"

#define BEAT_US 1000000u
#define BYTES_A_POLL 16
#define MARK_BUTTON 1

/* Samples leave room for all frames that go before them. */
#define RESERVE (REPLY_BYTES + HEARTBEAT_BYTES + INPUT_BYTES)

enum { TEST_REFERENCE = 1, TEST_SUPPLY = 2, TEST_CYLINDER = 4, TEST_STORE = 8, TEST_MEMORY = 16 };

static uint16_t rate, dropped;
static uint32_t next_beat_us;
static bool fault; /* what the self-test found at the last heartbeat, for the light */
static uint8_t owed_flags; /* what the next sample that is sent has to tell of those that were not */

static struct line reply;
static bool reply_waits;

static char heard[COMMAND_MOST + 2]; /* a command, its CR, and one more byte to know that it is too long */
static uint8_t heard_length;
static bool heard_something; /* other than blanks */

static struct {
    uint32_t edge_us;
    bool pressed, waits;
} press;

static void clear_heard(void)
{
    heard_length = 0;
    heard_something = false;
}

void board_start(uint8_t cause)
{
    struct line line;

    rate = RATE_DEFAULT_HZ;
    dropped = 0;
    owed_flags = 0;
    fault = reply_waits = press.waits = false;
    next_beat_us = port_now_us() + BEAT_US;
    clear_heard();
    errors_clear();
    button_reset();
    sampler_reset();
    store_load();
    port_set_rate(rate);
    frame_boot(&line, cause, store_boot_count(), store_calibrated());
    port_send(line.text, line.length);
}

/* ---- rate and self-test ---- */

uint16_t board_rate(void)
{
    return rate;
}

/* Samples may take four fifths of the line: 39 bytes of 10 bits each. */
int16_t board_set_rate(int32_t rate_hz)
{
    if ((uint32_t)rate_hz * (SAMPLE_BYTES * 10u * 5u) > port_traits()->baud * 4u)
        return SETTINGS_CONFLICT;
    if (rate_hz > port_traits()->fastest_hz)
        return DATA_OUT_OF_RANGE;
    rate = (uint16_t)rate_hz;
    port_set_rate(rate);
    return NO_ERROR;
}

/* What the reference says about the supply of the sensors, as flags of a sample. */
static uint8_t judge_reference(uint16_t reference)
{
    const struct traits *traits = port_traits();

    if (!traits->absolute && !reference)
        return 0; /* the board cannot tell */
    if (reference < traits->reference_low)
        return FLAG_REFERENCE_LOW;
    return reference > traits->reference_high ? FLAG_REFERENCE_HIGH : 0;
}

/* A transducer that is whole gives 0.25 V to 4.75 V of 5 V: a twentieth to nineteen. */
static bool is_live(uint16_t count, uint32_t full_scale)
{
    uint32_t twenty = (uint32_t)20 * count;

    return twenty >= full_scale && twenty <= 19 * full_scale;
}

uint8_t board_self_test(void)
{
    struct conversion last = sampler_last();
    uint32_t full_scale = port_traits()->absolute ? last.reference : (uint32_t)1 << port_traits()->bits;
    uint8_t found = 0;

    if (judge_reference(last.reference))
        found |= TEST_REFERENCE;
    if (!full_scale || !is_live(last.supply, full_scale))
        found |= TEST_SUPPLY;
    if (!full_scale || !is_live(last.cylinder, full_scale))
        found |= TEST_CYLINDER;
    if (store_damaged())
        found |= TEST_STORE;
    if (!port_memory_sound())
        found |= TEST_MEMORY;
    return found;
}

/* ---- sending ---- */

/* A frame that does not fit as a whole, with what has to be left free, is not sent. */
static bool send(const struct line *line, uint8_t reserve)
{
    if (port_room() < (uint16_t)(line->length + reserve))
        return false;
    port_send(line->text, line->length);
    return true;
}

static void note_drop(void)
{
    dropped++;
    owed_flags |= FLAG_DROP;
}

static void send_sample(struct sample *sample)
{
    struct line line;

    sample->flags |= (uint8_t)(judge_reference(sample->reference) | owed_flags);
    if (store_calibrated())
        sample->flags |= FLAG_CALIBRATED;
    frame_sample(&line, sample);
    owed_flags = 0;
    if (!send(&line, RESERVE)) {
        owed_flags = sample->flags & (FLAG_OVERRUN | FLAG_DROP);
        note_drop();
    }
}

static void send_heartbeat(void)
{
    struct line line;
    uint32_t now_us = port_now_us();

    if ((int32_t)(now_us - next_beat_us) < 0)
        return;
    next_beat_us += BEAT_US;
    if ((int32_t)(now_us - next_beat_us) >= 0)
        next_beat_us = now_us + BEAT_US; /* held up for a whole second: no burst to make up for it */
    fault = board_self_test() != 0;
    frame_heartbeat(&line, now_us, sampler_running(), dropped, errors_count());
    if (!send(&line, 0))
        note_drop();
}

/* A press waits for room, as a reply does; the button goes on being watched, and tells what it came to afterwards. */
static void send_press(void)
{
    struct line line;

    if (!press.waits)
        press.waits = button_poll(port_now_us(), port_button_down(), &press.edge_us, &press.pressed);
    if (!press.waits)
        return;
    frame_input(&line, press.edge_us, MARK_BUTTON, press.pressed);
    press.waits = !send(&line, 0);
}

/* ---- commands ---- */

/* True when the line has ended and is a command. */
static bool hear(uint8_t byte)
{
    if (byte != '\n') {
        heard_something = heard_something || (byte != ' ' && byte != '\t' && byte != '\r');
        if (heard_length < sizeof heard)
            heard[heard_length++] = (char)byte;
        return false;
    }
    if (!heard_something)
        clear_heard();
    return heard_length > 0;
}

/* The next command is not read before the reply to the last is on its way, and what it stored is in its place. */
static void serve(void)
{
    uint8_t byte;

    for (uint8_t i = 0; i < BYTES_A_POLL && !reply_waits && port_receive(&byte); i++)
        if (hear(byte)) {
            answer(&reply, heard, heard_length);
            clear_heard();
            reply_waits = true;
        }
    if (reply_waits && !store_busy())
        reply_waits = !send(&reply, 0);
}

void board_poll(void)
{
    struct sample sample;

    store_step();
    serve();
    send_press();
    send_heartbeat();
    if (!reply_waits && sampler_take(&sample))
        send_sample(&sample);
    port_light(light_is_on(port_now_us(), sampler_running(), fault, button_is_down()));
}
