/* The simulated microcontroller and what is wired to it. */
#ifndef MCU_H
#define MCU_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define INPUTS 4

struct mcu; /* one of it */

/* What the firmware's bytes are given to. */
typedef void (*mcu_output)(uint8_t byte);

/* `kind` as the simulator and the compiler name it; all that is wired to pins is for an atmega328p. */
struct mcu *mcu_new(const char *kind, const char *hex_path, bool i2c, mcu_output output);
bool mcu_run(struct mcu *mcu, uint32_t us); /* false when the program has ended */
uint64_t mcu_now_us(const struct mcu *mcu);

bool mcu_hears(const struct mcu *mcu); /* whether its receiver has room for a byte */
void mcu_hear(struct mcu *mcu, uint8_t byte);

void mcu_volts(struct mcu *mcu, unsigned input, double volts);
void mcu_ramp(struct mcu *mcu, uint32_t us, const double *to_v, unsigned inputs); /* evenly, from now on, the first so many */
void mcu_supply(struct mcu *mcu, double volts);
void mcu_noise(struct mcu *mcu, double rms_volts, uint32_t seed);
void mcu_button(struct mcu *mcu, bool down);
void mcu_plug(struct mcu *mcu, bool plugged);
void mcu_reset(struct mcu *mcu, unsigned cause);
void mcu_hang(struct mcu *mcu);
void mcu_poke(struct mcu *mcu, uint16_t address, uint32_t value);
bool mcu_light(const struct mcu *mcu);
unsigned mcu_stack_left(const struct mcu *mcu);
void mcu_eeprom_get(struct mcu *mcu, uint16_t address, uint8_t *bytes, size_t count);
void mcu_eeprom_set(struct mcu *mcu, uint16_t address, const uint8_t *bytes, size_t count);

#endif
