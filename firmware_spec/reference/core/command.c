#include "command.h"

#include <string.h>

#include "errors.h"

/* A piece of the line. */
struct piece {
    const char *text;
    uint8_t length;
};

/* Each letter stands for an argument: channel, or one of the numbers below. */
static const struct {
    const char *header;
    const char *arguments;
} forms[COMMANDS] = {
    [COMMAND_IDENTITY] = {"*IDN?", ""},
    [COMMAND_DEFAULTS] = {"*RST", ""},
    [COMMAND_CLEAR] = {"*CLS", ""},
    [COMMAND_SELF_TEST] = {"*TST?", ""},
    [COMMAND_NEXT_ERROR] = {"SYSTem:ERRor?", ""},
    [COMMAND_PROTOCOL] = {"SYSTem:PROTocol?", ""},
    [COMMAND_SET_RATE] = {"CONFigure:RATE", "r"},
    [COMMAND_RATE] = {"CONFigure:RATE?", ""},
    [COMMAND_CONVERTER] = {"CONFigure:ADC?", ""},
    [COMMAND_INITIATE] = {"INITiate", ""},
    [COMMAND_ABORT] = {"ABORt", ""},
    [COMMAND_SET_CALIBRATION] = {"CALibration:DATA", "czpd"},
    [COMMAND_CALIBRATION] = {"CALibration:DATA?", "c"},
    [COMMAND_CALIBRATION_STATE] = {"CALibration:STATe?", ""},
};

static const struct {
    char letter;
    int32_t low, high;
} limits[] = {
    {'r', 1, 10000},
    {'z', -10000000, 10000000},
    {'p', 1, 2000000000},
    {'d', 20000101, 20991231},
};

static const char *const channels[] = {[CHANNEL_SUPPLY] = "SUPPly", [CHANNEL_CYLINDER] = "CYLinder"};

const char *command_header(uint8_t id)
{
    return forms[id].header;
}

uint8_t command_arguments(uint8_t id)
{
    return (uint8_t)strlen(forms[id].arguments);
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static bool is_lower(char c)
{
    return c >= 'a' && c <= 'z';
}

static char upper(char c)
{
    return is_lower(c) ? (char)(c - 'a' + 'A') : c;
}

static void skip(struct piece *piece, uint8_t count)
{
    piece->text += count;
    piece->length = (uint8_t)(piece->length - count);
}

/* Takes blanks from both ends; returns whether there was one in front. */
static bool strip(struct piece *piece)
{
    bool any = piece->length && is_blank(*piece->text);

    while (piece->length && is_blank(*piece->text))
        skip(piece, 1);
    while (piece->length && is_blank(piece->text[piece->length - 1]))
        piece->length--;
    return any;
}

/* Cuts off what stands before the first `separator`; the whole piece where there is none. */
static struct piece cut(struct piece *rest, char separator, bool *found)
{
    struct piece first = {rest->text, 0};

    while (first.length < rest->length && first.text[first.length] != separator)
        first.length++;
    *found = first.length < rest->length;
    skip(rest, (uint8_t)(first.length + *found));
    return first;
}

/* Whether the piece is a word in its long form or in its short form, which is the part in upper case. */
static bool is_word(struct piece piece, const char *word, uint8_t length)
{
    uint8_t same = 0;

    while (same < piece.length && same < length && upper(piece.text[same]) == upper(word[same]))
        same++;
    return same == piece.length && (same == length || (same && is_lower(word[same]) && !is_lower(word[same - 1])));
}

/* Word for word, parted by colons; a `?` at the end stands on both sides or on none. */
static bool is_header(struct piece given, const char *header)
{
    struct piece form = {header, (uint8_t)strlen(header)};
    bool query = form.text[form.length - 1] == '?', more, more_form;

    if ((given.length && given.text[given.length - 1] == '?') != query)
        return false;
    given.length = (uint8_t)(given.length - query);
    form.length = (uint8_t)(form.length - query);
    do {
        struct piece word = cut(&given, ':', &more), wanted = cut(&form, ':', &more_form);
        if (!is_word(word, wanted.text, wanted.length))
            return false;
    } while (more && more_form);
    return more == more_form;
}

static bool hex_digit(char c, uint16_t *value)
{
    char letter = upper(c);
    bool is_digit = letter >= '0' && letter <= '9';

    if (!is_digit && (letter < 'A' || letter > 'F'))
        return false;
    *value = (uint16_t)((*value << 4) | (uint16_t)(is_digit ? letter - '0' : letter - 'A' + 10));
    return true;
}

/* A tag and the blanks behind it, if there is one. False where something begins like a tag and is none. */
static bool take_tag(struct piece *line, uint16_t *tag)
{
    *tag = 0;
    if (!line->length || *line->text != '@')
        return true;
    if (line->length < 6)
        return false;
    for (uint8_t i = 1; i <= 4; i++)
        if (!hex_digit(line->text[i], tag))
            return false;
    skip(line, 5);
    return strip(line);
}

static int16_t read_number(struct piece piece, int32_t low, int32_t high, int32_t *value)
{
    bool negative = piece.length && *piece.text == '-';
    int32_t size = 0;

    if (piece.length && (*piece.text == '-' || *piece.text == '+'))
        skip(&piece, 1);
    if (!piece.length)
        return DATA_TYPE_ERROR;
    for (uint8_t i = 0; i < piece.length; i++) {
        if (piece.text[i] < '0' || piece.text[i] > '9')
            return DATA_TYPE_ERROR;
        /* 2 000 000 000 is the largest that counts; beyond 200 million one more digit would overflow or be too large */
        size = size > 200000000 ? INT32_MAX : size * 10 + (piece.text[i] - '0');
    }
    *value = negative ? -size : size;
    return *value < low || *value > high ? DATA_OUT_OF_RANGE : NO_ERROR;
}

static int16_t read_channel(struct piece piece, int32_t *value)
{
    for (uint8_t i = 0; i < 2; i++)
        if (is_word(piece, channels[i], (uint8_t)strlen(channels[i]))) {
            *value = i;
            return NO_ERROR;
        }
    return ILLEGAL_PARAMETER_VALUE;
}

static int16_t read_argument(struct piece piece, char letter, int32_t *value)
{
    for (uint8_t i = 0; i < sizeof limits / sizeof limits[0]; i++)
        if (limits[i].letter == letter)
            return read_number(piece, limits[i].low, limits[i].high, value);
    return read_channel(piece, value);
}

/* First how many there are, then each from left to right. */
static int16_t read_arguments(struct command *command, struct piece rest)
{
    const char *wanted = forms[command->id].arguments;
    uint8_t count = 0, most = command_arguments(command->id);
    struct piece given[ARGUMENTS_MOST];
    bool more = rest.length > 0, empty = false;

    while (more) {
        struct piece piece = cut(&rest, ',', &more);
        strip(&piece);
        empty |= !piece.length;
        if (count < most)
            given[count] = piece;
        count++;
    }
    if (count < most || empty)
        return MISSING_PARAMETER;
    if (count > most)
        return PARAMETER_NOT_ALLOWED;
    for (uint8_t i = 0; i < most; i++) {
        int16_t error = read_argument(given[i], wanted[i], &command->arguments[i]);
        if (error)
            return error;
    }
    return NO_ERROR;
}

static bool printable(struct piece line)
{
    for (uint8_t i = 0; i < line.length; i++)
        if (line.text[i] != '\t' && (line.text[i] < ' ' || line.text[i] > '~'))
            return false;
    return true;
}

/* Cuts the header off. False where an `@` stands in it. */
static bool take_header(struct piece *line, struct piece *header)
{
    *header = (struct piece){line->text, 0};
    while (header->length < line->length && !is_blank(header->text[header->length]))
        if (header->text[header->length++] == '@')
            return false;
    skip(line, header->length);
    strip(line);
    return header->length > 0;
}

int16_t command_read(struct command *command, const char *line, uint8_t length)
{
    struct piece rest = {line, length}, header;
    uint16_t tag;

    command->tag = 0;
    command->id = COMMANDS;
    if (length && line[length - 1] == '\r')
        rest.length--;
    if (rest.length > COMMAND_MOST || !printable(rest))
        return UNDEFINED_HEADER;
    strip(&rest);
    if (!take_tag(&rest, &tag) || !take_header(&rest, &header))
        return UNDEFINED_HEADER;
    command->tag = tag;
    for (command->id = 0; command->id < COMMANDS; command->id++)
        if (is_header(header, forms[command->id].header))
            return read_arguments(command, rest);
    return UNDEFINED_HEADER;
}
