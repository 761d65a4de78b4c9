/* A pseudo-terminal behind a symbolic link: the line of the host port. */
#ifndef TERMINAL_H
#define TERMINAL_H

#include <stdbool.h>
#include <stddef.h>

int terminal_open(const char *link);      /* the end of the board, not blocking; -1 with a message */
bool terminal_listening(int terminal);    /* whether somebody has the other end open */

#endif
