/* The serial line: 8N1, both ways through a ring that an interrupt fills or empties. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "avr.h"
#include "port.h"
#include "ring.h"

#define DIVISOR ((F_CPU + 4 * BAUD) / (8 * BAUD))
#define TRUE_BAUD (F_CPU / (8 * DIVISOR))
#if TRUE_BAUD * 1000 > BAUD * 1022 || TRUE_BAUD * 1000 < BAUD * 978
#error "the clock does not divide to this bit rate within 2.2 %"
#endif

static struct ring sent, heard;

void serial_begin(void)
{
    UCSR0A = 1 << U2X0; /* before the divisor */
    UBRR0 = DIVISOR - 1;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
    UCSR0B = 1 << RXEN0 | 1 << TXEN0 | 1 << RXCIE0;
}

ISR(USART_RX_vect)
{
    ring_put(&heard, UDR0);
}

ISR(USART_UDRE_vect)
{
    uint8_t byte;

    if (ring_take(&sent, &byte))
        UDR0 = byte;
    else
        UCSR0B &= (uint8_t)~(1 << UDRIE0);
}

bool serial_heard(void)
{
    return !ring_empty(&heard);
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
    UCSR0B |= 1 << UDRIE0;
}
