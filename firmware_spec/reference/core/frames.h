/* The five frames that a board sends. Ref: protocol.md, sections 3 to 7. Each function writes a whole line, LF included;
 * a reply is written in two steps, its text in between. */
#ifndef FRAMES_H
#define FRAMES_H

#include <stdbool.h>

#include "line.h"

enum {
    FLAG_MARK = 0x01,
    FLAG_OVERRUN = 0x02,
    FLAG_DROP = 0x04,
    FLAG_REFERENCE_LOW = 0x08,
    FLAG_REFERENCE_HIGH = 0x10,
    FLAG_SATURATED = 0x20,
    FLAG_CALIBRATED = 0x40
};

enum reset_cause {
    RESET_UNKNOWN,
    RESET_POWER_ON,
    RESET_EXTERNAL,
    RESET_BROWN_OUT,
    RESET_WATCHDOG,
    RESET_SOFTWARE
};

#define SAMPLE_BYTES 39
#define HEARTBEAT_BYTES 29
#define INPUT_BYTES 22
#define REPLY_BYTES (LINE_MOST + 1)

struct sample {
    uint32_t clock_us; /* midpoint of the conversions */
    uint16_t sequence;
    uint16_t supply;
    uint16_t cylinder;
    uint16_t reference;
    uint8_t flags;
};

void frame_sample(struct line *line, const struct sample *sample);
void frame_heartbeat(struct line *line, uint32_t clock_us, bool running, uint16_t dropped, uint16_t errors);
void frame_input(struct line *line, uint32_t clock_us, uint8_t number, bool pressed);
void frame_boot(struct line *line, uint8_t cause, uint16_t count, bool calibrated); /* begins with an LF of its own */
void frame_reply_begin(struct line *line, uint16_t tag);
void frame_reply_end(struct line *line);

#endif
