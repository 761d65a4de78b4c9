/* An external converter of 16 bits with sign, four inputs and 860 conversions a second on a two-wire bus, of the common kind
 * with a pointer byte: register 1 holds the configuration, register 0 the result, both with the high byte first. Its
 * reference is its own, so the supply of the sensors is measured too, on a third input and through the same divider of 10 k
 * over 18 k as the transducers: 5 V become 3.214 V, of a full scale of 4.096 V.
 *
 * Inputs 0, 1, 2 are supply, cylinder, sensor supply, in this order and 1.6 ms apart; a sample takes 4.8 ms. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "avr.h"
#include "port.h"
#include "sampler.h"

#ifndef I2C_ADDRESS
#define I2C_ADDRESS 0x48
#endif
#define INPUTS 3
#define TOP_CODE 0x7FFF
/* Start one conversion of an input against ground, full scale 4.096 V, 860 a second, comparator off. */
#define CONFIGURE_HIGH 0xC3
#define CONFIGURE_LOW 0xE3
#define CONVERSION_TICKS (1330 * TICKS_PER_US) /* 1 / 860 s, 10 % late, and the time to wake up */
#define PAUSE_TICKS (10 * TICKS_PER_US)
#define PATIENCE_TICKS (1000 * TICKS_PER_US) /* a transfer takes a tenth of it */

const struct traits converter_traits = {
    .identity = "Boretight,Reference AVR I2C,0,1.0",
    .baud = BAUD,
    .fastest_hz = 200,
    .reference_low = 24429, /* 95 % and 105 % of 5 V on the scale of the counts */
    .reference_high = 27000,
    .bits = 15,
    .absolute = true,
};

enum { WRITE = I2C_ADDRESS << 1, READ = I2C_ADDRESS << 1 | 1 };
enum { GO = 1 << TWINT | 1 << TWEN | 1 << TWIE, START = GO | 1 << TWSTA, STOP = 1 << TWINT | 1 << TWEN | 1 << TWSTO };
enum { CONFIGURE_HIGH_STEP = 2, CONFIGURED = 4, HIGH_BYTE = 10, LOW_BYTE = 11 };

/* What the bus says: started, once more or anew; acknowledged, an address or a byte; and so on. */
enum { STARTED = 0x08, RESTARTED = 0x10, ADDRESSED = 0x18, SENT = 0x28, TO_READ = 0x40, GOT = 0x50, GOT_LAST = 0x58 };

/* What the bus says at each step of a conversion, and what it is told. */
static const struct {
    uint8_t either, or, byte, control;
} steps[] = {
    {STARTED, STARTED, WRITE, GO},
    {ADDRESSED, SENT, 1, GO}, /* the configuration */
    {SENT, SENT, CONFIGURE_HIGH, GO}, /* with the input put in */
    {SENT, SENT, CONFIGURE_LOW, GO},
    {SENT, SENT, 0, STOP}, /* and wait while it converts */
    {STARTED, STARTED, WRITE, GO},
    {ADDRESSED, SENT, 0, GO}, /* the result */
    {SENT, SENT, 0, START},
    {RESTARTED, STARTED, READ, GO},
    {TO_READ, TO_READ, 0, GO | 1 << TWEA},
    {GOT, GOT, 0, GO}, /* the high byte */
    {GOT_LAST, GOT_LAST, 0, STOP}, /* the low byte */
};

static uint8_t step, input;
static uint16_t codes[INPUTS];
static bool saturated, waiting;
static uint32_t began_us;

void converter_begin(void)
{
    PORTC |= 1 << PC4 | 1 << PC5;
    TWBR = 12; /* 400 kHz */
}

/* After a pause, or when there was no answer in time. */
void converter_alarm(void)
{
    if (waiting) {
        waiting = false;
        clock_alarm(PATIENCE_TICKS);
        TWCR = START;
        return;
    }
    TWCR = 0;
    sampler_failed();
}

static void pause(uint16_t ticks)
{
    waiting = true;
    clock_alarm(ticks);
}

void converter_start(void)
{
    step = input = 0;
    saturated = false;
    began_us = clock_now_us();
    pause(PAUSE_TICKS);
}

static void finish(void)
{
    const uint32_t midpoint_us = began_us + (clock_now_us() - began_us) / 2;
    const struct conversion seen = {midpoint_us, codes[0], codes[1], codes[2], saturated};

    TIMSK1 &= (uint8_t)~(1 << OCIE1B);
    sampler_done(&seen);
}

/* Below ground the code is negative: nothing, as far as a transducer goes. */
static void take_code(uint8_t low)
{
    uint16_t code = codes[input] | low;

    codes[input] = code > TOP_CODE ? 0 : code;
    saturated |= input < 2 && (!codes[input] || code == TOP_CODE);
    step = 0;
    if (++input < INPUTS)
        pause(PAUSE_TICKS);
    else
        finish();
}

static void fail(void)
{
    waiting = false;
    clock_alarm(PAUSE_TICKS);
    TWCR = STOP;
}

ISR(TWI_vect)
{
    uint8_t now = step, byte = steps[now].byte, heard = TWDR, status = TWSR & 0xF8;

    if (status != steps[now].either && status != steps[now].or) {
        fail();
        return;
    }
    if (now == CONFIGURE_HIGH_STEP)
        byte = (uint8_t)(byte | input << 4);
    TWDR = byte; /* where nothing is to be sent it does no harm */
    step = (uint8_t)(now + 1);
    TWCR = steps[now].control;
    if (now == CONFIGURED)
        pause(CONVERSION_TICKS);
    else if (now == HIGH_BYTE)
        codes[input] = (uint16_t)heard << 8;
    else if (now == LOW_BYTE)
        take_code(heard);
}
