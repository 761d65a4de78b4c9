/* See README.md: a firmware on a simulated microcontroller, for tests only. */
#define _XOPEN_SOURCE 700

#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "mcu.h"
#include "terminal.h"

#define SLICE_US 1000u
#define PENDING_MOST 65536
#define PENDING_TOO_MANY 4096
#define EEPROM_SHOWN 128
#define PATIENCE_MS 10
#define AWAITED_MOST_US 600000000u

static struct mcu *mcu;
static int terminal = -1;
static bool orders; /* the line is part of the orders and answers */
static uint8_t pending[PENDING_MOST]; /* what the host of the line has not fetched */
static size_t pending_count;
static uint8_t heard[512]; /* what the receiver has no room for yet */
static size_t heard_count;
static uint8_t last_byte, line_begun; /* the first byte of the line that the firmware began last */

static void on_byte(uint8_t byte)
{
    if (last_byte == '\n')
        line_begun = byte;
    last_byte = byte;
    if (terminal < 0 && !orders)
        putchar(byte);
    else if (pending_count < PENDING_MOST)
        pending[pending_count++] = byte;
}

/* ---- line ---- */

static void send_pending(void)
{
    ssize_t sent;

    if (!terminal_listening(terminal)) {
        pending_count = 0;
        return;
    }
    if (!pending_count || (sent = write(terminal, pending, pending_count)) <= 0)
        return;
    pending_count -= (size_t)sent;
    memmove(pending, pending + sent, pending_count);
}

/* Simulated time stands still until the host is not far behind. */
static void wait_for_host(void)
{
    struct pollfd end = {terminal, POLLOUT, 0};

    while (pending_count > PENDING_TOO_MANY && terminal_listening(terminal)) {
        poll(&end, 1, PATIENCE_MS);
        send_pending();
    }
}

static void pass_on(void)
{
    size_t count = 0;
    ssize_t got;

    if (terminal >= 0 && !heard_count && (got = read(terminal, heard, sizeof heard)) > 0)
        heard_count = (size_t)got;
    while (count < heard_count && mcu_hears(mcu))
        mcu_hear(mcu, heard[count++]);
    heard_count -= count;
    memmove(heard, heard + count, heard_count);
}

static void run(uint32_t us)
{
    while (us) {
        uint32_t slice = us < SLICE_US ? us : SLICE_US;
        pass_on();
        if (!mcu_run(mcu, slice)) {
            fputs("the program has ended\n", stderr);
            exit(3);
        }
        if (terminal >= 0) {
            send_pending();
            wait_for_host();
        }
        us -= slice;
    }
}

/* Until the firmware begins a line with this letter, or for ten minutes. Nothing happens while nobody has the line open. */
static void await(uint8_t letter)
{
    struct timespec pause = {0, PATIENCE_MS * 1000000L};
    uint32_t waited = 0;

    line_begun = 0;
    while (line_begun != letter && waited < AWAITED_MOST_US) {
        if (terminal >= 0 && !terminal_listening(terminal)) {
            nanosleep(&pause, NULL);
            continue;
        }
        run(SLICE_US);
        waited += SLICE_US;
    }
}

/* ---- orders ---- */

static void answer_run(void)
{
    printf("at %llu", (unsigned long long)mcu_now_us(mcu));
    if (orders) {
        putchar(' ');
        for (size_t i = 0; i < pending_count; i++)
            printf("%02X", pending[i]);
        pending_count = 0;
    }
    putchar('\n');
}

/* Bytes in hexadecimal to the receiver; what it has no room for at once follows. */
static void send_hex(const char *hex)
{
    unsigned byte;

    for (; heard_count < sizeof heard && sscanf(hex, "%2x", &byte) == 1; hex += 2)
        heard[heard_count++] = (uint8_t)byte;
}

static void dump(void)
{
    uint8_t bytes[EEPROM_SHOWN];

    mcu_eeprom_get(mcu, 0, bytes, sizeof bytes);
    printf("eeprom ");
    for (size_t i = 0; i < sizeof bytes; i++)
        printf("%02X", bytes[i]);
    putchar('\n');
}

static void set_eeprom(unsigned address, unsigned value)
{
    uint8_t byte = (uint8_t)value;

    mcu_eeprom_set(mcu, (uint16_t)address, &byte, 1);
}

/* US and a voltage for each of the first inputs. */
static bool ramp(const char *words)
{
    double volts[INPUTS];
    unsigned us;
    int count = sscanf(words, "%u %lf %lf %lf %lf", &us, &volts[0], &volts[1], &volts[2], &volts[3]);

    if (count < 2)
        return false;
    mcu_ramp(mcu, us, volts, (unsigned)count - 1);
    run(us);
    return true;
}

/* Orders without numbers. */
static bool obey_word(const char *line)
{
    if (!strcmp(line, "hang"))
        mcu_hang(mcu);
    else if (!strcmp(line, "plug") || !strcmp(line, "unplug"))
        mcu_plug(mcu, *line == 'p');
    else if (!strcmp(line, "light"))
        printf("light %d\n", mcu_light(mcu));
    else if (!strcmp(line, "stack"))
        printf("stack %u\n", mcu_stack_left(mcu));
    else if (!strcmp(line, "dump"))
        dump();
    else
        return false;
    return true;
}

static bool obey(const char *line)
{
    unsigned a, b;
    double volts;
    char letter;

    if (!strncmp(line, "ramp ", 5))
        return ramp(line + 5);
    if (sscanf(line, "run %u", &a) == 1) {
        run(a);
        answer_run();
    } else if (sscanf(line, "await %c", &letter) == 1) {
        await((uint8_t)letter);
        answer_run();
    } else if (!strncmp(line, "send ", 5))
        send_hex(line + 5);
    else if (sscanf(line, "volts %u %lf", &a, &volts) == 2)
        mcu_volts(mcu, a, volts);
    else if (sscanf(line, "supply %lf", &volts) == 1)
        mcu_supply(mcu, volts);
    else if (sscanf(line, "noise %lf %u", &volts, &a) == 2)
        mcu_noise(mcu, volts, a);
    else if (sscanf(line, "button %u", &a) == 1)
        mcu_button(mcu, a != 0);
    else if (sscanf(line, "reset %u", &a) == 1)
        mcu_reset(mcu, a);
    else if (sscanf(line, "poke %i %u", (int *)&a, &b) == 2)
        mcu_poke(mcu, (uint16_t)a, b);
    else if (sscanf(line, "eeprom %u %u", &a, &b) == 2)
        set_eeprom(a, b);
    else
        return obey_word(line);
    return true;
}

static int obey_all(void)
{
    char line[1024];

    while (fgets(line, sizeof line, stdin)) {
        line[strcspn(line, "\n")] = 0;
        if (!obey(line)) {
            fprintf(stderr, "not understood: %s\n", line);
            return 2;
        }
        fflush(stdout);
    }
    return 0;
}

static int usage(void)
{
    fputs("bench FIRMWARE.hex [--orders | --link PATH] [--i2c] [--mcu KIND]\n", stderr);
    return 2;
}

int main(int count, char **arguments)
{
    const char *link_path = NULL, *kind = "atmega328p";
    bool i2c = false;

    if (count < 2)
        return usage();
    for (int i = 2; i < count; i++) {
        if (!strcmp(arguments[i], "--i2c"))
            i2c = true;
        else if (!strcmp(arguments[i], "--orders"))
            orders = true;
        else if (!strcmp(arguments[i], "--link") && i + 1 < count)
            link_path = arguments[++i];
        else if (!strcmp(arguments[i], "--mcu") && i + 1 < count)
            kind = arguments[++i];
        else
            return usage();
    }
    if (!(mcu = mcu_new(kind, arguments[1], i2c, on_byte))) {
        fprintf(stderr, "%s cannot be loaded\n", arguments[1]);
        return 1;
    }
    if (link_path && (terminal = terminal_open(link_path)) < 0)
        return 1;
    if (link_path || orders)
        return obey_all();
    while (mcu_run(mcu, SLICE_US))
        ;
    return 0;
}
