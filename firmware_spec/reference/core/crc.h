/* CRC-16/IBM-3740: width 16, polynomial 0x1021, initial value 0xFFFF, not reflected; "123456789" gives 0x29B1.
 * Ref: catalogue of parametrised CRC algorithms, reveng.sourceforge.io/crc-catalogue. */
#ifndef CRC_H
#define CRC_H

#include <stddef.h>
#include <stdint.h>

#define CRC_START 0xFFFFu

uint16_t crc_add(uint16_t crc, uint8_t byte);
uint16_t crc16(const uint8_t *bytes, size_t length);

#endif
