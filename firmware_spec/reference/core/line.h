/* A line of text that is being written: at most 120 bytes and its LF. What does not fit is left out. */
#ifndef LINE_H
#define LINE_H

#include <stdint.h>

#define LINE_MOST 120

struct line {
    uint8_t length;
    char text[LINE_MOST + 1];
};

void line_char(struct line *line, char c);
void line_text(struct line *line, const char *text);
void line_hex8(struct line *line, uint8_t value);
void line_hex16(struct line *line, uint16_t value);
void line_hex32(struct line *line, uint32_t value);
void line_decimal(struct line *line, int32_t value, uint8_t digits); /* at least so many digits */

#endif
