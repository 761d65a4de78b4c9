#include "bench.h"

#include <stdio.h>

#define FULL_SCALE_PA 1034214 /* 150 psi */
#define COUNTS 4096
#define NOISE 64 /* steps of noise in a count */

void bench_obey(struct bench *bench, const char *line)
{
    long a, b;

    if (sscanf(line, "pressures %ld %ld", &a, &b) == 2) {
        bench->supply_pa = (int32_t)a;
        bench->cylinder_pa = (int32_t)b;
    } else if (sscanf(line, "sensors %ld", &a) == 1) {
        bench->sensors_mv = (int32_t)a;
    } else if (sscanf(line, "button %ld", &a) == 1) {
        bench->button_down = a != 0;
    } else if (sscanf(line, "reset %ld", &a) == 1) {
        bench->reset = (int)a;
    }
}

/* 0 to 63, without pattern to the eye. */
static int32_t noise(uint32_t number)
{
    number = number * 2654435761u;
    number ^= number >> 15;
    number = number * 2246822519u;
    return (int32_t)(number >> 26);
}

/* A floor converter: a tenth of full scale at no pressure, nine tenths at the transducer's full scale. */
uint16_t bench_count(int32_t gauge_pa, uint32_t sample)
{
    int64_t share = (int64_t)gauge_pa * (COUNTS * 8 / 10 * NOISE) / FULL_SCALE_PA;
    int64_t count = (share + (int64_t)COUNTS * NOISE / 10 + noise(sample) - NOISE / 2) / NOISE;

    return (uint16_t)(count < 0 ? 0 : count >= COUNTS ? COUNTS - 1 : count);
}

uint16_t bench_reference(const struct bench *bench)
{
    int32_t reference = bench->sensors_mv * 10;

    return (uint16_t)(reference < 0 ? 0 : reference > 65535 ? 65535 : reference);
}
