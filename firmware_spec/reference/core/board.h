/* The board as a whole: what it does at its start, and then again and again. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#define RATE_DEFAULT_HZ 200

void board_start(uint8_t cause); /* one of enum reset_cause; the port is ready by then */
void board_poll(void);           /* bounded work: a few bytes, a command, a sample, a heartbeat; never waits */

/* For the commands. */
uint16_t board_rate(void);
int16_t board_set_rate(int32_t rate_hz); /* 0, or the number of the error */
uint8_t board_self_test(void);           /* the bits of *TST? */

#endif
