#include "mcu_parts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_hex.h>
#include <simavr/sim_time.h>

#define FREQUENCY 16000000u
#define CYCLES_PER_US (FREQUENCY / 1000000u)
#define RAM_BEGIN 0x100
#define PAINT 0xC5
#define HANG_OPCODE 0xCFFF /* rjmp to itself */

enum { MCUSR_AT = 0x54, PORTB_AT = 0x25, BUTTON_PIN = 2, LIGHT_PIN = 5 };

/* ---- line ---- */

static void on_output(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    ((struct mcu *)param)->output((uint8_t)value);
}

static void on_xon(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)value;
    ((struct mcu *)param)->may_hear = true;
}

static void on_xoff(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)value;
    ((struct mcu *)param)->may_hear = false;
}

bool mcu_hears(const struct mcu *mcu)
{
    return mcu->may_hear;
}

void mcu_hear(struct mcu *mcu, uint8_t byte)
{
    avr_raise_irq(avr_io_getirq(mcu->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), byte);
}

/* ---- resets and time ---- */

static avr_cycle_count_t on_time(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)avr;
    (void)when;
    (void)param;
    return 0;
}

static void set_button(struct mcu *mcu, bool down)
{
    avr_raise_irq(avr_io_getirq(mcu->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), BUTTON_PIN), !down);
}

static bool was_reset; /* there is one microcontroller in a program */
static void (*core_reset)(avr_t *avr);

static void on_reset(avr_t *avr)
{
    was_reset = true;
    if (core_reset)
        core_reset(avr);
}

/* A reset makes the simulator forget the levels of pins, of which it only heeds changes; it may also begin to count anew. */
static void revive(struct mcu *mcu, avr_cycle_count_t cycles_before)
{
    was_reset = false;
    if (mcu->avr->cycle < cycles_before)
        mcu->earlier_cycles += cycles_before;
    set_button(mcu, !mcu->button_down);
    set_button(mcu, mcu->button_down);
}

uint64_t part_now_cycles(const struct mcu *mcu)
{
    return mcu->earlier_cycles + mcu->avr->cycle;
}

/* ---- beginning ---- */

static void be_quiet(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level <= LOG_ERROR)
        vfprintf(stderr, format, arguments);
}

static void no_sleep(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles;
}

static void wire(struct mcu *mcu, bool i2c)
{
    avr_t *avr = mcu->avr;
    uint32_t flags = 0;

    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_output, mcu);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_xon, mcu);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_xoff, mcu);
    part_own_converter(mcu);
    if (i2c)
        part_i2c_converter(mcu);
}

struct mcu *mcu_new(const char *kind, const char *hex_path, bool i2c, mcu_output output)
{
    struct mcu *mcu = calloc(1, sizeof *mcu);
    uint32_t size = 0, start = 0;
    uint8_t *program = read_ihex_file(hex_path, &size, &start);

    avr_global_logger_set(be_quiet);
    if (!mcu || !program || !(mcu->avr = avr_make_mcu_by_name(kind)))
        return NULL;
    avr_init(mcu->avr);
    mcu->avr->frequency = FREQUENCY;
    mcu->avr->sleep = no_sleep;
    mcu->avr->log = LOG_ERROR;
    avr_loadcode(mcu->avr, program, size, start);
    mcu->avr->codeend = mcu->avr->flashend;
    core_reset = mcu->avr->reset;
    mcu->avr->reset = on_reset;
    memset(mcu->avr->data + RAM_BEGIN, PAINT, mcu->avr->ramend + 1u - RAM_BEGIN);
    mcu->output = output;
    mcu->random = 88172645463325252u;
    mcu->may_hear = mcu->plugged = true;
    wire(mcu, i2c);
    mcu_supply(mcu, 5.0);
    mcu_reset(mcu, 1);
    return mcu;
}

/* ---- time ---- */

/* Where the program hung there is the program again once the watchdog has reset it. */
static void heal(struct mcu *mcu)
{
    if (!mcu->hung_at || mcu->avr->pc == mcu->hung_at)
        return;
    memcpy(mcu->avr->flash + mcu->hung_at, &mcu->hung_word, 2);
    mcu->hung_at = 0;
}

/* To `until`, or as far as a reset or an end. The watchdog resets it from inside. */
static int step(struct mcu *mcu, uint64_t until)
{
    avr_cycle_count_t before, cycles = until - mcu->earlier_cycles;
    int state;

    do {
        before = mcu->avr->cycle;
        state = avr_run(mcu->avr);
    } while (mcu->avr->cycle < cycles && !was_reset && !mcu->hung_at && state != cpu_Done && state != cpu_Crashed);

    if (was_reset) {
        revive(mcu, before);
        avr_cycle_timer_register(mcu->avr, until - part_now_cycles(mcu), on_time, mcu);
    }
    heal(mcu);
    return state;
}

bool mcu_run(struct mcu *mcu, uint32_t us)
{
    uint64_t until = part_now_cycles(mcu) + (uint64_t)us * CYCLES_PER_US;

    avr_cycle_timer_register(mcu->avr, us * CYCLES_PER_US, on_time, mcu);
    while (part_now_cycles(mcu) < until) {
        int state = step(mcu, until);
        if (state == cpu_Done || state == cpu_Crashed)
            return false;
    }
    return true;
}

uint64_t mcu_now_us(const struct mcu *mcu)
{
    return part_now_cycles(mcu) / CYCLES_PER_US;
}

/* ---- what happens to it ---- */

void mcu_volts(struct mcu *mcu, unsigned input, double volts)
{
    if (input < INPUTS)
        mcu->course[input] = (struct course){volts, volts};
}

void mcu_ramp(struct mcu *mcu, uint32_t us, const double *to_v, unsigned inputs)
{
    mcu->began_cycles = part_now_cycles(mcu);
    mcu->lasts_cycles = (uint64_t)us * CYCLES_PER_US;
    for (unsigned i = 0; i < INPUTS; i++) {
        struct course *course = &mcu->course[i];
        *course = (struct course){course->to_v, i < inputs ? to_v[i] : course->to_v};
    }
}

void mcu_supply(struct mcu *mcu, double volts)
{
    mcu->supply_v = volts;
    mcu->avr->vcc = mcu->avr->avcc = mcu->avr->aref = (uint32_t)(volts * 1000.0 + 0.5);
}

void mcu_noise(struct mcu *mcu, double rms_volts, uint32_t seed)
{
    mcu->noise_v = rms_volts;
    mcu->random = 88172645463325252u ^ seed;
}

void mcu_button(struct mcu *mcu, bool down)
{
    mcu->button_down = down;
    set_button(mcu, down);
}

void mcu_plug(struct mcu *mcu, bool plugged)
{
    mcu->plugged = plugged;
}

/* Flags of the cause: power-on 1, pin 2, brown-out 4, watchdog 8. */
void mcu_reset(struct mcu *mcu, unsigned cause)
{
    static const uint8_t flags[] = {0, 1, 2, 4, 8};

    avr_cycle_count_t cycles = mcu->avr->cycle;

    avr_reset(mcu->avr);
    revive(mcu, cycles);
    mcu->avr->data[MCUSR_AT] = flags[cause < sizeof flags ? cause : 0];
}

void mcu_hang(struct mcu *mcu)
{
    static const uint16_t hang = HANG_OPCODE;

    mcu->hung_at = mcu->avr->pc;
    memcpy(&mcu->hung_word, mcu->avr->flash + mcu->hung_at, 2);
    memcpy(mcu->avr->flash + mcu->hung_at, &hang, 2);
    mcu->avr->sreg[S_I] = 0;
    mcu->avr->state = cpu_Running;
}

void mcu_poke(struct mcu *mcu, uint16_t address, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        mcu->avr->data[address + i] = (uint8_t)(value >> 8 * i);
}

bool mcu_light(const struct mcu *mcu)
{
    return mcu->avr->data[PORTB_AT] >> LIGHT_PIN & 1;
}

/* The longest run of paint. */
unsigned mcu_stack_left(const struct mcu *mcu)
{
    unsigned run = 0, longest = 0;

    for (unsigned at = RAM_BEGIN; at <= mcu->avr->ramend; at++) {
        run = mcu->avr->data[at] == PAINT ? run + 1 : 0;
        longest = run > longest ? run : longest;
    }
    return longest;
}

void mcu_eeprom_get(struct mcu *mcu, uint16_t address, uint8_t *bytes, size_t count)
{
    avr_eeprom_desc_t wanted = {.ee = bytes, .offset = address, .size = (uint32_t)count};

    avr_ioctl(mcu->avr, AVR_IOCTL_EEPROM_GET, &wanted);
}

void mcu_eeprom_set(struct mcu *mcu, uint16_t address, const uint8_t *bytes, size_t count)
{
    avr_eeprom_desc_t given = {.ee = (uint8_t *)(uintptr_t)bytes, .offset = address, .size = (uint32_t)count};

    avr_ioctl(mcu->avr, AVR_IOCTL_EEPROM_SET, &given);
}
