#include "memory.h"

#include <stdio.h>
#include <string.h>

#include "port.h"

#define EEPROM_BYTES 1024

const char *memory_path;

static uint8_t eeprom[EEPROM_BYTES];

void memory_load(void)
{
    FILE *file = memory_path ? fopen(memory_path, "rb") : NULL;

    memset(eeprom, 0xFF, sizeof eeprom);
    if (file) {
        if (fread(eeprom, 1, sizeof eeprom, file) < sizeof eeprom)
            fputs("the EEPROM file is short; the rest counts as erased\n", stderr);
        fclose(file);
    }
}

bool port_eeprom_ready(void)
{
    return true;
}

uint8_t port_eeprom_read(uint16_t address)
{
    return eeprom[address];
}

void port_eeprom_write(uint16_t address, uint8_t value)
{
    FILE *file = memory_path ? fopen(memory_path, "wb") : NULL;

    eeprom[address] = value;
    if (file) {
        fwrite(eeprom, 1, sizeof eeprom, file);
        fclose(file);
    }
}
