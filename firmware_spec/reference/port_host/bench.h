/* The air side of the host port: pressures that somebody sets, as the counts of a converter of 12 bits that is ratiometric,
 * with transducers of 0.5 V to 4.5 V for 0 to 150 psi. Lines of text set them:
 *   pressures SUPPLY_PA CYLINDER_PA    gauge, whole pascals
 *   sensors MILLIVOLTS                 supply of the sensors
 *   button 1|0                         mark button down or up
 *   reset CAUSE                        the board starts anew, by this number of the boot line */
#ifndef BENCH_H
#define BENCH_H

#include <stdbool.h>
#include <stdint.h>

struct bench {
    int32_t supply_pa;
    int32_t cylinder_pa;
    int32_t sensors_mv;
    bool button_down;
    int reset; /* a cause that waits to happen; -1 when none does */
};

#define BENCH_AT_START {689476, 634318, 5000, false, -1} /* 100.0 psi and 92.0 psi: a loss of 8 % */
#define BENCH_BITS 12
#define BENCH_TOP 4095 /* the highest count */

void bench_obey(struct bench *bench, const char *line); /* a line that means nothing changes nothing */
uint16_t bench_count(int32_t gauge_pa, uint32_t sample); /* with a little noise that depends on the number alone */
uint16_t bench_reference(const struct bench *bench);     /* in 0.1 mV */

#endif
