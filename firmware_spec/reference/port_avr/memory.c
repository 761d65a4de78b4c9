/* EEPROM, and two checks of what must not change: the program, by the CRC that the build put behind it, and two bytes below
 * the deepest that the stack may reach. */
#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

#include "avr.h"
#include "crc.h"
#include "port.h"

#define GUARD 0xA5C3u
#define BYTES_A_STEP 8

extern const uint8_t __data_load_end[]; /* where the program ends in flash, and its CRC begins */
extern uint8_t _end[];                  /* where the variables end and the stack must not come */

static const uint8_t *checked_to;
static uint16_t crc = CRC_START;
static bool program_sound = true;

static volatile uint16_t *guard(void)
{
    return (volatile uint16_t *)(void *)_end;
}

void memory_begin(void)
{
    *guard() = GUARD;
}

void memory_step(void)
{
    for (uint8_t i = 0; i < BYTES_A_STEP && checked_to < __data_load_end; i++)
        crc = crc_add(crc, pgm_read_byte(checked_to++));
    if (checked_to < __data_load_end)
        return;
    program_sound = crc == pgm_read_word(__data_load_end);
    checked_to = 0;
    crc = CRC_START;
}

bool port_memory_sound(void)
{
    return program_sound && *guard() == GUARD;
}

bool port_eeprom_ready(void)
{
    return eeprom_is_ready();
}

uint8_t port_eeprom_read(uint16_t address)
{
    return eeprom_read_byte((const uint8_t *)address);
}

/* Erase and write in one: 3.4 ms, in which the program goes on. */
void port_eeprom_write(uint16_t address, uint8_t value)
{
    uint8_t before = port_lock();

    EEAR = address;
    EEDR = value;
    EECR = 1 << EEMPE;
    EECR |= 1 << EEPE; /* within four cycles of the line before */
    port_unlock(before);
}
