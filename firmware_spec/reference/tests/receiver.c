#include "receiver.h"

#include <string.h>

#include "crc.h"

/* Each letter of a form is a field of hexadecimal digits after a comma: byte, word, dword. */
static const struct {
    char type;
    const char *form;
} types[] = {{'S', "wdwwwb"}, {'H', "dbww"}, {'I', "dbb"}, {'B', "bwb"}};

static bool is_hex(char c)
{
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'F');
}

static uint8_t digits(char letter)
{
    return letter == 'b' ? 2 : letter == 'w' ? 4 : 8;
}

/* Where a field of so many digits ends, or NULL. */
static const char *field(const char *text, const char *end, uint8_t count)
{
    if (end - text < count + 1 || *text != ',')
        return NULL;
    for (uint8_t i = 1; i <= count; i++)
        if (!is_hex(text[i]))
            return NULL;
    return text + count + 1;
}

static bool is_bool(const char *end)
{
    return end[-2] == '0' && (end[-1] == '0' || end[-1] == '1');
}

static bool sound_values(char type, const char *body, const char *end)
{
    switch (type) {
    case 'H': return is_bool(body + 13);
    case 'I': return is_bool(end);
    case 'B': return is_bool(end) && body[2] == '0' && body[3] <= '5';
    default: return true;
    }
}

static bool fixed_fields(char type, const char *form, const char *body, const char *end)
{
    const char *at = body + 1;

    while (*form && at)
        at = field(at, end, digits(*form++));
    return at == end && sound_values(type, body, end);
}

/* R,TTTT,status,text: a status is 0, or a minus and one to three digits of which the first is not 0. */
static bool is_reply(const char *body, const char *end)
{
    const char *at = field(body + 1, end, 4), *first;

    if (!at || at == end || *at++ != ',')
        return false;
    if (at < end && *at == '0') {
        at++;
    } else {
        if (at == end || *at++ != '-')
            return false;
        for (first = at; at < end && *at >= '0' && *at <= '9' && at - first < 3; at++)
            if (at == first && *at == '0')
                return false;
        if (at == first)
            return false;
    }
    return at < end && *at == ',' && end - at - 1 <= 100 && !memchr(body, '*', (size_t)(end - body));
}

static char classify_body(const char *body, const char *end)
{
    if (end - body < 2 || body[1] != ',' || body[0] < 'A' || body[0] > 'Z')
        return LINE_UNKNOWN_TYPE;
    if (body[0] == 'R')
        return is_reply(body, end) ? 'R' : LINE_BAD_GRAMMAR;
    for (uint8_t i = 0; i < sizeof types / sizeof types[0]; i++)
        if (types[i].type == body[0])
            return fixed_fields(body[0], types[i].form, body, end) ? body[0] : LINE_BAD_GRAMMAR;
    return LINE_UNKNOWN_TYPE;
}

static char classify(const char *line, uint8_t length)
{
    uint16_t crc = 0;

    if (length > 120)
        return LINE_OVERSIZE;
    for (uint8_t i = 0; i < length; i++)
        if (line[i] < ' ' || line[i] > '~')
            return LINE_NOT_ASCII;
    if (length < 5 || line[length - 5] != '*')
        return LINE_NO_CRC;
    for (const char *c = line + length - 4; c < line + length; c++) {
        if (!is_hex(*c))
            return LINE_NO_CRC;
        crc = (uint16_t)(crc << 4 | (uint16_t)(*c <= '9' ? *c - '0' : *c - 'A' + 10));
    }
    if (crc != crc16((const uint8_t *)line, (size_t)length - 5))
        return LINE_BAD_CRC;
    return classify_body(line, line + length - 5);
}

static char end_of_line(struct receiver *receiver)
{
    uint8_t length = receiver->length;
    bool skipped = receiver->skipping;

    receiver->length = 0;
    receiver->skipping = false;
    if (length && receiver->line[length - 1] == '\r')
        length--;
    if (skipped)
        return 0;
    return length ? classify(receiver->line, length) : LINE_EMPTY;
}

char receiver_feed(struct receiver *receiver, uint8_t byte)
{
    if (byte == '\n')
        return end_of_line(receiver);
    if (receiver->length < sizeof receiver->line) {
        receiver->line[receiver->length++] = (char)byte;
        return 0;
    }
    if (receiver->skipping)
        return 0;
    receiver->skipping = true;
    return LINE_OVERSIZE;
}
