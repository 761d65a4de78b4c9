/* The EEPROM of the host port: bytes that a file keeps, where one is named. */
#ifndef MEMORY_H
#define MEMORY_H

extern const char *memory_path;

void memory_load(void);

#endif
