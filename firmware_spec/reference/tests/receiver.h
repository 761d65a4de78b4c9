/* A host's side of the line, for the tests: what a receiver makes of what a board sends. Ref: protocol.md, sections 4, 13. */
#ifndef RECEIVER_H
#define RECEIVER_H

#include <stdbool.h>
#include <stdint.h>

#define RECEIVER_MOST 121 /* 120 bytes and a CR */

enum {
    LINE_EMPTY = ' ',
    LINE_OVERSIZE = 'o',
    LINE_NOT_ASCII = 'a',
    LINE_NO_CRC = 'n',
    LINE_BAD_CRC = 'c',
    LINE_UNKNOWN_TYPE = 'u',
    LINE_BAD_GRAMMAR = 'g'
    /* a sound line is its type: S H I R B */
};

struct receiver {
    char line[RECEIVER_MOST];
    uint8_t length;
    bool skipping; /* the rest of a line that is too long */
};

/* Takes a byte. Returns 0 within a line, at its end what the line was; that it is too long as soon as it is. */
char receiver_feed(struct receiver *receiver, uint8_t byte);

#endif
