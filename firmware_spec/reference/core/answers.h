/* What the board answers to a command. */
#ifndef ANSWERS_H
#define ANSWERS_H

#include <stdint.h>

#include "line.h"

/* Writes the whole reply to a command line, and remembers its error if there is one. */
void answer(struct line *reply, const char *text, uint8_t length);

#endif
