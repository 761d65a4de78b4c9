#include "crc.h"

/* One byte at a time without a table: what eight steps of the shift register do to the polynomial 0x1021. */
uint16_t crc_add(uint16_t crc, uint8_t byte)
{
    uint8_t x = (uint8_t)((crc >> 8) ^ byte);

    x = (uint8_t)(x ^ (x >> 4));
    return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)x << 12) ^ (uint16_t)((uint16_t)x << 5) ^ x);
}

uint16_t crc16(const uint8_t *bytes, size_t length)
{
    uint16_t crc = CRC_START;

    while (length--)
        crc = crc_add(crc, *bytes++);
    return crc;
}
