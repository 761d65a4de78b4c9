/* Timer 1 counts half microseconds for ever, 32.768 ms a turn. The board clock adds up its turns: it is looked at more often
 * than that, and a turn has ended when the timer stands lower than it did. The first compare unit says when a sample is
 * due, and looks at the clock; the second is an alarm for the converter. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "avr.h"
#include "port.h"
#include "sampler.h"

#define TICKS_PER_S 2000000UL
#define NEAR 0xC000u /* up to here one compare will do: three quarters of a turn */
#define FAR 0x8000u

static uint32_t turns;
static uint16_t last_ticks;
static uint32_t whole_ticks;        /* of an interval */
static uint16_t rate, fraction, error; /* the rest of the division, added up so that the mean is exact */
static uint32_t ticks_left;

uint32_t clock_now_us(void)
{
    uint16_t ticks = TCNT1;

    if (ticks < last_ticks)
        turns++;
    last_ticks = ticks;
    return (turns << 15) + ticks / TICKS_PER_US;
}

uint32_t port_now_us(void)
{
    uint8_t before = port_lock();
    uint32_t now_us = clock_now_us();

    port_unlock(before);
    return now_us;
}

void port_set_rate(uint16_t rate_hz)
{
    uint32_t whole = TICKS_PER_S / rate_hz;
    uint8_t before = port_lock();

    rate = rate_hz;
    whole_ticks = whole;
    fraction = (uint16_t)(TICKS_PER_S % rate_hz);
    error = 0;
    port_unlock(before);
}

static void aim(void)
{
    uint16_t step = ticks_left > NEAR ? FAR : (uint16_t)ticks_left;

    ticks_left -= step;
    OCR1A += step;
}

static void aim_at_next_sample(void)
{
    ticks_left = whole_ticks;
    error += fraction;
    if (error >= rate) {
        error -= rate;
        ticks_left++;
    }
    aim();
}

ISR(TIMER1_COMPA_vect)
{
    clock_now_us();
    if (ticks_left) {
        aim();
        return;
    }
    aim_at_next_sample();
    if (sampler_due())
        converter_start();
}

void clock_alarm(uint16_t ticks)
{
    OCR1B = TCNT1 + ticks;
    TIFR1 = 1 << OCF1B;
    TIMSK1 |= 1 << OCIE1B;
}

ISR(TIMER1_COMPB_vect)
{
    TIMSK1 &= (uint8_t)~(1 << OCIE1B);
    converter_alarm();
}

void clock_begin(void)
{
    TCCR1A = 0;
    TCCR1B = 1 << CS11; /* an eighth of 16 MHz */
    OCR1A = last_ticks = TCNT1;
    port_set_rate(200);
    aim_at_next_sample();
    TIMSK1 = 1 << OCIE1A;
}
