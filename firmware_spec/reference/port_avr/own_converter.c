/* The microcontroller's own converter of 10 bits, ratiometric: its reference is the supply of the sensors. 16 conversions of
 * each channel make 12 bits, in the order supply, cylinder, cylinder, supply, so that both have the same midpoint. Two more
 * look at the internal band gap, the first of them only to let it settle: what is known of the reference.
 *
 * A conversion takes 104 us at a converter clock of 125 kHz, a sample 3.7 ms. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "avr.h"
#include "port.h"
#include "sampler.h"

#ifndef BAND_GAP_MV
#define BAND_GAP_MV 1100UL /* 1000 to 1200 from one to the next: measure it once at AREF */
#endif
#define MEASURED 32 /* conversions of both channels */
#define ALL (MEASURED + 2)
#define TOP_CODE 1023
#define CODES 1024UL
#define GAPS 16 /* over how many samples the band gap is averaged */

enum { SUPPLY, CYLINDER, BAND_GAP = 14 };

const struct traits converter_traits = {
    .identity = "Boretight,Reference AVR,0,1.0",
    .baud = BAUD,
    .fastest_hz = 260,
    .reference_low = 47500,
    .reference_high = 52500,
    .bits = 12,
    .absolute = false,
};

static uint8_t done; /* conversions of this sample */
static uint16_t sums[2];
static bool saturated;
static uint32_t began_us, midpoint_us;
static uint16_t gap_sum;

static uint8_t channel_of(uint8_t number)
{
    if (number >= MEASURED)
        return BAND_GAP;
    return (number & 3) == 1 || (number & 3) == 2 ? CYLINDER : SUPPLY;
}

static void convert(uint8_t channel)
{
    ADMUX = (uint8_t)(1 << REFS0 | channel);
    ADCSRA |= 1 << ADSC;
}

void converter_begin(void)
{
    DIDR0 = 1 << ADC0D | 1 << ADC1D;
    ADCSRA = 1 << ADEN | 1 << ADIE | 1 << ADPS2 | 1 << ADPS1 | 1 << ADPS0;
}

void converter_start(void)
{
    done = 0;
    sums[SUPPLY] = sums[CYLINDER] = 0;
    saturated = false;
    began_us = clock_now_us();
    convert(SUPPLY);
}

void converter_alarm(void)
{
}

static void average_gap(uint16_t code)
{
    if (gap_sum)
        gap_sum += code - gap_sum / GAPS;
    else
        gap_sum = code * GAPS;
}

/* In 0.1 mV; 0, not known, where it does not fit. */
static uint16_t reference(void)
{
    uint32_t reference = gap_sum ? BAND_GAP_MV * 10 * CODES * GAPS / gap_sum : 0;

    return reference > 0xFFFF ? 0 : (uint16_t)reference;
}

/* 16 conversions, each of them half a code low, are made half a count low at 12 bits. */
static uint16_t count_of(uint16_t sum)
{
    return (sum + 8) >> 2;
}

static void finish(void)
{
    const struct conversion seen = {
        midpoint_us, count_of(sums[SUPPLY]), count_of(sums[CYLINDER]), reference(), saturated,
    };

    sampler_done(&seen);
}

ISR(ADC_vect)
{
    uint16_t code = ADC;
    uint8_t number = done++;

    if (done < ALL)
        convert(channel_of(done));
    if (number < MEASURED) {
        sums[channel_of(number)] += code;
        saturated |= !code || code == TOP_CODE;
    }
    if (done == MEASURED)
        midpoint_us = began_us + (clock_now_us() - began_us) / 2;
    if (done == ALL) {
        average_gap(code);
        finish();
    }
}
