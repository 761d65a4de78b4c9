/* The board as a process on a pseudo-terminal, in real time.
 *
 *     board [--link PATH] [--baud N] [--eeprom FILE] [--identity MAKER,MODEL,SERIAL,FIRMWARE]
 *
 * prints the path to open, and obeys lines on its standard input (bench.h). Ends by a signal. */
#define _XOPEN_SOURCE 700

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
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
#include "port.h"
#include "ring.h"
#include "sampler.h"
#include "terminal.h"

#define EEPROM_BYTES 1024
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
static uint8_t eeprom[EEPROM_BYTES];
static const char *eeprom_path;
static volatile sig_atomic_t ended;
static uint64_t clock_us; /* of the board: follows real time in small steps, so that a process that has to wait its turn
                             does what is due in time all the same, if late */
static uint64_t behind_us; /* real time less the board clock, as it was at the start */
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

bool port_eeprom_ready(void)
{
    return true;
}

uint8_t port_eeprom_read(uint16_t address)
{
    return eeprom[address];
}

void port_eeprom_write(uint16_t address, uint8_t value)
{
    FILE *file = eeprom_path ? fopen(eeprom_path, "wb") : NULL;

    eeprom[address] = value;
    if (file) {
        fwrite(eeprom, 1, sizeof eeprom, file);
        fclose(file);
    }
}

bool port_memory_sound(void)
{
    return true;
}

/* ---- the world around it ---- */

static void load_eeprom(void)
{
    FILE *file = eeprom_path ? fopen(eeprom_path, "rb") : NULL;

    memset(eeprom, 0xFF, sizeof eeprom);
    if (file) {
        if (fread(eeprom, 1, sizeof eeprom, file) < sizeof eeprom)
            fputs("the EEPROM file is short; the rest counts as erased\n", stderr);
        fclose(file);
    }
}

static void start(uint8_t cause)
{
    behind_us = monotonic_us();
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

/* Lets the board clock catch up with real time. */
static void live(void)
{
    uint64_t real_us = monotonic_us() - behind_us;

    if (real_us > clock_us + LATE_MOST_US)
        clock_us = next_due_us = real_us;
    while (clock_us < real_us) {
        clock_us += real_us - clock_us < STEP_US ? real_us - clock_us : STEP_US;
        if (next_due_us <= clock_us)
            sample();
        board_poll();
    }
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

/* Lines of the standard input, as far as they have come. */
static void obey(void)
{
    static char line[128];
    static size_t length;
    static bool over;
    struct pollfd input = {STDIN_FILENO, POLLIN, 0};
    bool was_down = bench.button_down;
    char c;

    while (!over && poll(&input, 1, 0) == 1) {
        if (read(STDIN_FILENO, &c, 1) != 1) {
            over = true;
        } else if (c != '\n') {
            if (length < sizeof line - 1)
                line[length++] = c;
        } else {
            line[length] = 0;
            length = 0;
            bench_obey(&bench, line);
        }
        if (bench.button_down != was_down)
            button_edge(port_now_us());
        was_down = bench.button_down;
    }
    if (bench.reset >= 0) {
        start((uint8_t)bench.reset);
        bench.reset = -1;
    }
}

static void run(int terminal)
{
    struct timespec pause = {0, WAIT_MS * 1000000L};

    start(RESET_POWER_ON);
    while (!ended) {
        hear(terminal);
        obey();
        live();
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
    fputs("board [--link PATH] [--baud N] [--eeprom FILE] [--identity MAKER,MODEL,SERIAL,FIRMWARE]\n", stderr);
    return 2;
}

/* Takes an option and its value; false for one that there is not. */
static bool take_option(const char *name, const char *value, const char **link_path)
{
    if (!strcmp(name, "--link"))
        *link_path = value;
    else if (!strcmp(name, "--eeprom"))
        eeprom_path = value;
    else if (!strcmp(name, "--identity"))
        traits.identity = value;
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
    load_eeprom();
    run(terminal);
    if (link_path)
        unlink(link_path);
    return 0;
}
