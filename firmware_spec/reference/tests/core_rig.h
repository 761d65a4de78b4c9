/* A board for tests of the core, and what it sent last of each kind. */
#ifndef CORE_RIG_H
#define CORE_RIG_H

#include <stdbool.h>
#include <stdint.h>

#define check(right) check_at(right, __FILE__, __LINE__)
void check_at(bool right, const char *file, uint16_t line);
extern uint16_t failures, checked;

extern char last_sample[40], last_heartbeat[32], last_input[24], last_reply[64];
extern uint8_t bad_lines;   /* that were not sound */
extern const char *to_hear; /* what the board's receiver gets from now on */

void start(void);                       /* the board, with the EEPROM as it is */
void new_board(void);                   /* erased, started, and measured once */
void polls(uint8_t count);
void wait_until(uint32_t us);           /* on the board clock */
void forget(void);                      /* what was sent */
bool sent_are(const char *kinds);       /* the types of the lines since then */
bool flags_are(const char *flags);      /* of the last sample */
bool answers(const char *command, const char *reply); /* how the reply goes on after its tag */

/* The tests, in files of their own. */
void test_store(void);
void test_panel(void);
void test_flow(void);

#endif
