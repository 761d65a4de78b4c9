/* Between the converter and the line: counts the samples that are due, and keeps those that are measured until they are
 * sent. The converter runs all the time, at the rate that is set; while no samples are due its values serve the self-test.
 * Ref: protocol.md, 6.1 and section 8. */
#ifndef SAMPLER_H
#define SAMPLER_H

#include <stdbool.h>
#include <stdint.h>

#include "frames.h"

/* One measurement of all channels. */
struct conversion {
    uint32_t midpoint_us;
    uint16_t supply;
    uint16_t cylinder;
    uint16_t reference;
    bool saturated; /* a conversion gave the lowest or the highest code */
};

void sampler_reset(void);
void sampler_run(bool running);
bool sampler_running(void);
bool sampler_take(struct sample *sample); /* the oldest that waits; its flags are those that belong to the measurement */
struct conversion sampler_last(void);

/* For the port, where it happens: true when a conversion is to be started now; and what came of it. */
bool sampler_due(void);
void sampler_done(const struct conversion *conversion);
void sampler_failed(void);

#endif
