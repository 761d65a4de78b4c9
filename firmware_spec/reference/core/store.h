/* What outlives power-off: the boot count, and the calibration of each channel. Each record is kept in two copies, one
 * written after the other, each with a version and a CRC: one of them is always whole, and a write that was cut off is
 * found. Values are read from memory; store_step writes them out, a byte at a time. */
#ifndef STORE_H
#define STORE_H

#include <stdbool.h>
#include <stdint.h>

struct calibration {
    int32_t zero_uv;
    int32_t pa_per_v;
    int32_t date; /* yyyymmdd */
};

void store_load(void);                                            /* at the start: also counts the start */
uint16_t store_boot_count(void);
bool store_get(uint8_t channel, struct calibration *calibration); /* false, and all zero, when nothing is stored */
void store_set(uint8_t channel, const struct calibration *calibration);
bool store_calibrated(void);                                      /* both channels are stored and sound */
bool store_damaged(void);                                         /* a channel is neither sound nor empty */
bool store_busy(void);                                            /* something is not written yet */
void store_step(void);

#endif
