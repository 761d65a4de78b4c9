/* Reading a command line. Ref: protocol.md, section 10. */
#ifndef COMMAND_H
#define COMMAND_H

#include <stdbool.h>
#include <stdint.h>

#define COMMAND_MOST 80 /* bytes of a line, without CR and LF */

enum command_id {
    COMMAND_IDENTITY,
    COMMAND_DEFAULTS,
    COMMAND_CLEAR,
    COMMAND_SELF_TEST,
    COMMAND_NEXT_ERROR,
    COMMAND_PROTOCOL,
    COMMAND_SET_RATE,
    COMMAND_RATE,
    COMMAND_CONVERTER,
    COMMAND_INITIATE,
    COMMAND_ABORT,
    COMMAND_SET_CALIBRATION,
    COMMAND_CALIBRATION,
    COMMAND_CALIBRATION_STATE,
    COMMANDS
};

enum channel { CHANNEL_SUPPLY, CHANNEL_CYLINDER };

#define ARGUMENTS_MOST 4

struct command {
    uint16_t tag;
    uint8_t id;                        /* one of enum command_id */
    int32_t arguments[ARGUMENTS_MOST]; /* a keyword as its number in enum channel */
};

/* Reads `length` bytes without LF, with or without their CR. Returns 0, or the number of the error; the tag is set either
 * way. */
int16_t command_read(struct command *command, const char *line, uint8_t length);

/* How the header is written in the table of the protocol, `?` included, and how many arguments belong to it. */
const char *command_header(uint8_t id);
uint8_t command_arguments(uint8_t id);

#endif
