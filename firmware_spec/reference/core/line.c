#include "line.h"

void line_char(struct line *line, char c)
{
    if (line->length < sizeof line->text)
        line->text[line->length++] = c;
}

void line_text(struct line *line, const char *text)
{
    while (*text)
        line_char(line, *text++);
}

static char digit(uint8_t value)
{
    return (char)(value < 10 ? '0' + value : 'A' - 10 + value);
}

void line_hex8(struct line *line, uint8_t value)
{
    line_char(line, digit(value >> 4));
    line_char(line, digit(value & 15));
}

void line_hex16(struct line *line, uint16_t value)
{
    line_hex8(line, (uint8_t)(value >> 8));
    line_hex8(line, (uint8_t)value);
}

void line_hex32(struct line *line, uint32_t value)
{
    line_hex16(line, (uint16_t)(value >> 16));
    line_hex16(line, (uint16_t)value);
}

void line_decimal(struct line *line, int32_t value, uint8_t digits)
{
    char reversed[10];
    uint8_t count = 0;
    uint32_t rest = value < 0 ? 0u - (uint32_t)value : (uint32_t)value;

    do {
        reversed[count++] = (char)('0' + (uint8_t)(rest % 10));
        rest /= 10;
    } while (rest || count < digits);
    if (value < 0)
        line_char(line, '-');
    while (count)
        line_char(line, reversed[--count]);
}
