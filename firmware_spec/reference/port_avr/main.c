/* The board on a microcontroller of the ATmega328P class at 16 MHz.
 *
 *   PD0, PD1   serial line          PC0, PC1   supply and cylinder transducer (own converter)
 *   PD2        mark button to ground   PC4, PC5   data and clock of the two-wire bus (external converter)
 *   PB5        status light
 *
 * Fuses: crystal, brown-out at 4.3 V (extended fuse 0xFC). See ../README.md. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "avr.h"
#include "board.h"
#include "button.h"
#include "frames.h"
#include "port.h"

/* Power-on leaves the other flags undefined, so it goes first. */
static uint8_t reset_cause(void)
{
    if (reset_remembered & 1 << PORF)
        return RESET_POWER_ON;
    if (reset_remembered & 1 << WDRF)
        return RESET_WATCHDOG;
    if (reset_remembered & 1 << BORF)
        return RESET_BROWN_OUT;
    return reset_remembered & 1 << EXTRF ? RESET_EXTERNAL : RESET_UNKNOWN;
}

const struct traits *port_traits(void)
{
    return &converter_traits;
}

uint8_t port_lock(void)
{
    uint8_t before = SREG;

    cli();
    return before;
}

void port_unlock(uint8_t before)
{
    SREG = before;
}

bool port_button_down(void)
{
    return !(PIND & 1 << PD2);
}

void port_light(bool on)
{
    if (on)
        PORTB |= 1 << PB5;
    else
        PORTB &= (uint8_t)~(1 << PB5);
}

ISR(INT0_vect)
{
    button_edge(clock_now_us());
}

static void pins_begin(void)
{
    DDRB |= 1 << DDB5;
    PORTD |= 1 << PD2; /* pull-up */
    EICRA = 1 << ISC00; /* each edge */
    EIMSK = 1 << INT0;
}

static volatile bool ticked;

ISR(TIMER0_COMPA_vect)
{
    ticked = true;
}

/* A tick each millisecond. */
static void ticks_begin(void)
{
    TCCR0A = 1 << WGM01;
    OCR0A = 249;
    TCCR0B = 1 << CS01 | 1 << CS00; /* a 64th of 16 MHz */
    TIMSK0 = 1 << OCIE0A;
}

/* Until the next tick, or until there is something to read. The converter's interrupts alone need nobody. */
static void rest(void)
{
    while (!ticked && !serial_heard())
        sleep_mode();
    ticked = false;
}

int main(void)
{
    pins_begin();
    memory_begin();
    serial_begin();
    converter_begin();
    clock_begin();
    ticks_begin();
    board_start(reset_cause());
    wdt_enable(WDTO_250MS);
    sei();
    for (;;) {
        wdt_reset();
        board_poll();
        memory_step();
        rest();
    }
}
