/* What the parts of the simulated board share. */
#ifndef MCU_PARTS_H
#define MCU_PARTS_H

#include <simavr/sim_avr.h>

#include "mcu.h"

struct mcu {
    avr_t *avr;
    mcu_output output;
    struct course {
        double from_v, to_v;
    } course[INPUTS]; /* of the voltage at each input, evenly within lasts_cycles */
    uint64_t began_cycles, lasts_cycles;
    double supply_v, noise_v;
    uint64_t random;
    bool button_down, may_hear, plugged;
    uint64_t earlier_cycles; /* before the last reset */
    uint32_t hung_at; /* address in flash, or 0 */
    uint16_t hung_word;
    struct {
        avr_irq_t *irq;
        bool selected;
        uint8_t written, pointer, input, read;
        uint8_t config_high;
        int16_t result;
    } i2c;
};

double part_volts(struct mcu *mcu, unsigned input); /* at an input now, with the noise of one conversion */
uint64_t part_now_cycles(const struct mcu *mcu); /* since the beginning, resets or not */
double part_clip(double value, double low, double high);

void part_own_converter(struct mcu *mcu); /* wires up what is at the pins of the microcontroller's own converter */
void part_i2c_converter(struct mcu *mcu); /* wires up an external one */

#endif
