#include "say.h"

#ifdef __AVR__
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

void say_begin(void)
{
    UCSR0A = 1 << U2X0; /* before the divisor */
    UBRR0 = 16;
    UCSR0B = 1 << TXEN0;
}

void say_char(char c)
{
    while (!(UCSR0A & 1 << UDRE0))
        ;
    UDR0 = (uint8_t)c;
}

int say_end(uint16_t failures)
{
    say_text(failures ? "failed\n" : "passed\n");
    while (!(UCSR0A & 1 << UDRE0))
        ;
    cli();
    sleep_enable();
    sleep_cpu();
    return 0;
}
#else
#include <stdio.h>

void say_begin(void)
{
}

void say_char(char c)
{
    putchar(c);
}

int say_end(uint16_t failures)
{
    say_text(failures ? "failed\n" : "passed\n");
    return failures ? 1 : 0;
}
#endif

void say_text(const char *text)
{
    while (*text)
        say_char(*text++);
}

void say_number(uint16_t value)
{
    if (value >= 10)
        say_number(value / 10);
    say_char((char)('0' + value % 10));
}
