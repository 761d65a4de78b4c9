/* The mark button: a change counts when it has stood for 20 ms, and bears the time of its first edge. */
#ifndef BUTTON_H
#define BUTTON_H

#include <stdbool.h>
#include <stdint.h>

void button_reset(void);
void button_edge(uint32_t now_us); /* for the port, at each edge, where it happens */
bool button_is_down(void);         /* as it will turn out: an edge that is still being watched counts */

/* To be called often. True once for each change, with its state and the clock of its first edge. */
bool button_poll(uint32_t now_us, bool down, uint32_t *edge_us, bool *pressed);

#endif
