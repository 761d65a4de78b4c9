/* What the files of this port have to do with each other. Pins: see main.c. */
#ifndef AVR_H
#define AVR_H

#include <stdbool.h>
#include <stdint.h>

#ifndef BAUD
#define BAUD 115200UL
#endif
#define TICKS_PER_US 2 /* of timer 1 */

/* clock.c: the board clock, and when a sample is due. */
void clock_begin(void);
uint32_t clock_now_us(void);      /* with interrupts off */
void clock_alarm(uint16_t ticks); /* calls converter_alarm once, so much later; with interrupts off */

/* serial.c: the serial line. */
void serial_begin(void);
bool serial_heard(void);

/* A converter, one of own_converter.c and i2c_converter.c. All but begin is called from interrupts. */
extern const struct traits converter_traits;
void converter_begin(void);
void converter_start(void);
void converter_alarm(void);

/* reset.c: the flags of the reset, as they were. */
extern uint8_t reset_remembered;

/* memory.c: EEPROM, and whether the program and the stack are whole. */
void memory_begin(void);
void memory_step(void); /* checks a few bytes of the program; bounded */

#endif
