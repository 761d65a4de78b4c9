/* Where a test program says what it found, and where it keeps its tables: on a computer or on the microcontroller. */
#ifndef SAY_H
#define SAY_H

#include <stdint.h>

#ifdef __AVR__
#include <avr/pgmspace.h>
#define IN_FLASH PROGMEM
#define FROM_FLASH(address) pgm_read_byte(address)
#else
#define IN_FLASH
#define FROM_FLASH(address) (*(address))
#endif

void say_begin(void);
void say_char(char c);
void say_text(const char *text);
void say_number(uint16_t value);
int say_end(uint16_t failures); /* the exit code; on the microcontroller it sleeps for ever */

#endif
