/* The board as a process on a pseudo-terminal, in real time or at a multiple of it.
 *
 *     board [--link PATH] [--baud N] [--speed TIMES] [--eeprom FILE] [--identity MAKER,MODEL,SERIAL,FIRMWARE]
 *
 * prints the path to open, and obeys lines on its standard input (bench.h). `wait MICROSECONDS` among them lets those that
 * follow wait until so long after samples were first asked for. Ends by a signal. */
#define _XOPEN_SOURCE 700

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "bench.h"
#include "board.h"
#include "button.h"
#include "frames.h"
#include "memory.h"
#include "orders.h"
#include "port.h"
#include "ring.h"
#include "sampler.h"
#include "terminal.h"

#define WAIT_MS 2
#define STEP_US 1000
#define LATE_MOST_US 1000000 /* a process that stood still for longer does not make up for it */

static struct traits traits = {
    .identity = "Boretight,Reference Host,0,1.0",
    .baud = 115200,
    .fastest_hz = 1000, /* one sample a step */
    .reference_low = 47500,
    .reference_high = 52500,
    .bits = BENCH_BITS,
    .absolute = false,
};

static struct bench bench = BENCH_AT_START;
static struct ring sent, heard;
static volatile sig_atomic_t ended;
static uint64_t clock_us; /* of the board: follows real time in small steps, so that a process that has to wait its turn
                             does what is due in time all the same, if late */
static uint64_t seen_us;  /* real time up to which it has followed */
static double speed = 1.0; /* multiple of real time */
static bool began;         /* samples have been asked for */
static uint64_t lived_us, wait_us; /* since then, whatever restarts; and how long the next line of input has to wait */
static uint64_t next_due_us;
static uint16_t rate;
static uint32_t samples;

static uint64_t monotonic_us(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint64_t)now.tv_sec * 1000000u + (uint64_t)now.tv_nsec / 1000u;
}

/* ---- what the core asks for ---- */

const struct traits *port_traits(void)
{
    return &traits;
}

uint32_t port_now_us(void)
{
    return (uint32_t)clock_us;
}

uint8_t port_lock(void)
{
    return 0; /* one thread, no interrupts */
}

void port_unlock(uint8_t before)
{
    (void)before;
}

bool port_receive(uint8_t *byte)
{
    return ring_take(&heard, byte);
}

uint16_t port_room(void)
{
    return ring_room(&sent);
}

void port_send(const char *bytes, uint8_t length)
{
    while (length--)
        ring_put(&sent, (uint8_t)*bytes++);
}

void port_set_rate(uint16_t rate_hz)
{
    rate = rate_hz;
}

bool port_button_down(void)
{
    return bench.button_down;
}

void port_light(bool on)
{
    (void)on;
}

bool port_memory_sound(void)
{
    return true;
}

/* ---- the world around it ---- */

static void start(uint8_t cause)
{
    clock_us = next_due_us = 0;
    board_start(cause);
}

static void sample(void)
{
    const uint16_t supply = bench_count(bench.supply_pa, 2 * samples);
    const uint16_t cylinder = bench_count(bench.cylinder_pa, 2 * samples + 1);
    const bool saturated = !supply || !cylinder || supply == BENCH_TOP || cylinder == BENCH_TOP;
    const struct conversion seen = {(uint32_t)next_due_us, supply, cylinder, bench_reference(&bench), saturated};

    samples++;
    next_due_us += 1000000u / rate;
    if (sampler_due())
        sampler_done(&seen);
}

/* What the other end does not fetch waits, and nothing else does; what nobody listens to is lost. */
static void send_what_waits(int terminal)
{
    uint8_t byte;

    if (!terminal_listening(terminal)) {
        while (ring_take(&sent, &byte))
            ;
        return;
    }
    while (!ring_empty(&sent)) {
        byte = sent.bytes[sent.tail];
        if (write(terminal, &byte, 1) != 1)
            return;
        ring_take(&sent, &byte);
    }
}

static void hear(int terminal)
{
    uint8_t bytes[64];
    ssize_t count;

    if (ring_room(&heard) < sizeof bytes)
        return;
    count = read(terminal, bytes, sizeof bytes);
    for (ssize_t i = 0; i < count; i++)
        ring_put(&heard, bytes[i]);
}

/* Lines of standard input, as far as they have come and none has to wait. */
static void obey(void)
{
    const char *line;
    bool was_down;

    while ((!wait_us || (began && lived_us >= wait_us)) && (line = orders_next())) {
        was_down = bench.button_down;
        if (sscanf(line, "wait %" SCNu64, &wait_us) != 1)
            bench_obey(&bench, line);
        if (bench.button_down != was_down)
            button_edge(port_now_us());
        if (bench.reset >= 0)
            start((uint8_t)bench.reset);
        bench.reset = -1;
    }
}

static void step(uint32_t us)
{
    clock_us += us;
    lived_us += us;
    if (next_due_us <= clock_us)
        sample();
    if (sampler_running() && !began) {
        began = true;
        lived_us = 0;
    }
    obey();
    board_poll();
}

/* Lets time catch up with real time, or with a multiple of it. In real time a host that is behind loses samples, as on a
 * real line. At a multiple of it time waits. */
static void live(int terminal)
{
    uint64_t real_us = (uint64_t)((double)monotonic_us() * speed);
    uint64_t owed_us = real_us - seen_us;

    seen_us = real_us;
    if (owed_us > LATE_MOST_US && speed <= 1.0) {
        next_due_us += owed_us - STEP_US;
        clock_us += owed_us - STEP_US;
        owed_us = STEP_US;
    }
    for (; owed_us >= STEP_US; owed_us -= STEP_US) {
        step(STEP_US);
        send_what_waits(terminal);
        if (speed > 1.0 && !ring_empty(&sent))
            owed_us = STEP_US;
    }
    seen_us -= owed_us;
}

static void run(int terminal)
{
    struct timespec pause = {0, WAIT_MS * 1000000L};

    seen_us = (uint64_t)((double)monotonic_us() * speed);
    start(RESET_POWER_ON);
    while (!ended) {
        hear(terminal);
        live(terminal);
        send_what_waits(terminal);
        nanosleep(&pause, NULL);
    }
}

static void end(int number)
{
    (void)number;
    ended = 1;
}

static int usage(void)
{
    fputs("board [--link PATH] [--baud N] [--speed TIMES] [--eeprom FILE] [--identity MAKER,MODEL,SERIAL,FIRMWARE]\n", stderr);
    return 2;
}

/* Takes an option and its value; false for one that there is not. */
static bool take_option(const char *name, const char *value, const char **link_path)
{
    if (!strcmp(name, "--link"))
        *link_path = value;
    else if (!strcmp(name, "--eeprom"))
        memory_path = value;
    else if (!strcmp(name, "--identity"))
        traits.identity = value;
    else if (!strcmp(name, "--speed"))
        speed = strtod(value, NULL);
    else if (!strcmp(name, "--baud"))
        traits.baud = (uint32_t)strtoul(value, NULL, 10);
    else
        return false;
    return true;
}

int main(int count, char **arguments)
{
    const char *link_path = NULL;
    int terminal;

    for (int i = 1; i < count; i += 2)
        if (i + 1 == count || !take_option(arguments[i], arguments[i + 1], &link_path))
            return usage();
    if ((terminal = terminal_open(link_path)) < 0)
        return 1;
    signal(SIGTERM, end);
    signal(SIGINT, end);
    memory_load();
    run(terminal);
    if (link_path)
        unlink(link_path);
    return 0;
}
