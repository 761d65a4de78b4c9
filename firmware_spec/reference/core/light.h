/* The status light, in periods of about a second (16 steps of 65.536 ms):
 *   stopped   one short flash
 *   running   on, with one short gap
 *   fault     four flashes: the self-test finds something
 * While the mark button is down the light is the other way round, so that the foot sees that it was seen. */
#ifndef LIGHT_H
#define LIGHT_H

#include <stdbool.h>
#include <stdint.h>

bool light_is_on(uint32_t now_us, bool running, bool fault, bool mark_down);

#endif
