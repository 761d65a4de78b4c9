/* The golden vectors through the core, on a computer or on the microcontroller: the vectors are bytes of one array, and
 * what came of them goes out as text. Exit code 0 when all is well. Ref: make_vectors.py for the layout. */
#include <string.h>

#include "board.h"
#include "command.h"
#include "crc.h"
#include "frames.h"
#include "port_test.h"
#include "receiver.h"
#include "say.h"
#include "vectors.h"

#define HELD_MOST 320

static uint16_t at; /* the next byte of the vectors */
static uint16_t failures, checked;

static uint8_t held[HELD_MOST]; /* what came out, to be compared */
static uint16_t held_length;

static uint8_t next(void)
{
    return FROM_FLASH(&vectors[at++]);
}

static uint32_t next_number(void)
{
    uint32_t value = next();

    value |= (uint32_t)next() << 8;
    value |= (uint32_t)next() << 16;
    return value | (uint32_t)next() << 24;
}

static void hold(uint8_t byte)
{
    if (held_length < HELD_MOST)
        held[held_length++] = byte;
}

static void check(bool right, char kind)
{
    checked++;
    if (right)
        return;
    failures++;
    say_text("wrong: ");
    say_char(kind);
    say_text(" before byte ");
    say_number(at);
    say_char('\n');
}

/* Whether what is held is what the vectors say now; they are read on in any case. */
static bool holds_next(void)
{
    uint16_t length = (uint16_t)next_number();
    bool same = length == held_length;

    for (uint16_t i = 0; i < length; i++)
        same &= next() == held[i] || i >= held_length;
    return same;
}

static void hold_line(const struct line *line)
{
    held_length = 0;
    for (uint8_t i = 0; i < line->length; i++)
        hold((uint8_t)line->text[i]);
}

/* ---- F ---- */

static void make_sample(struct line *line)
{
    struct sample sample;

    sample.sequence = (uint16_t)next_number();
    sample.clock_us = next_number();
    sample.supply = (uint16_t)next_number();
    sample.cylinder = (uint16_t)next_number();
    sample.reference = (uint16_t)next_number();
    sample.flags = (uint8_t)next_number();
    frame_sample(line, &sample);
}

static void make_heartbeat(struct line *line)
{
    uint32_t clock_us = next_number();
    bool running = next_number() != 0;
    uint16_t dropped = (uint16_t)next_number();

    frame_heartbeat(line, clock_us, running, dropped, (uint16_t)next_number());
}

static void make_input(struct line *line)
{
    uint32_t clock_us = next_number();
    uint8_t number = (uint8_t)next_number();

    frame_input(line, clock_us, number, next_number() != 0);
}

static void make_boot(struct line *line)
{
    uint8_t cause = (uint8_t)next_number();
    uint16_t count = (uint16_t)next_number();

    frame_boot(line, cause, count, next_number() != 0);
}

static void make_reply(struct line *line)
{
    frame_reply_begin(line, (uint16_t)next_number());
    line_decimal(line, (int32_t)next_number(), 1);
    line_char(line, ',');
    for (uint32_t length = next_number(); length; length--)
        line_char(line, (char)next());
    frame_reply_end(line);
}

static void check_frame(void)
{
    struct line line;

    switch (next()) {
    case 'S': make_sample(&line); break;
    case 'H': make_heartbeat(&line); break;
    case 'I': make_input(&line); break;
    case 'B': make_boot(&line); break;
    default: make_reply(&line); break;
    }
    hold_line(&line);
    check(holds_next(), 'F');
}

/* ---- C ---- */

static char upper(char c)
{
    return (char)(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
}

static bool understood(const struct command *command)
{
    bool right;

    held_length = 0;
    for (const char *c = command_header(command->id); *c; c++)
        hold((uint8_t)upper(*c));
    right = holds_next();
    right &= next_number() == command_arguments(command->id);
    for (uint8_t i = 0; i < command_arguments(command->id); i++)
        right &= (int32_t)next_number() == command->arguments[i];
    return right;
}

static void check_command(void)
{
    char text[120];
    uint8_t length = (uint8_t)next_number();
    struct command command;
    int16_t error;
    bool right;

    for (uint8_t i = 0; i < length; i++)
        text[i] = (char)next();
    error = command_read(&command, text, length);
    right = next_number() == command.tag;
    right &= (int32_t)next_number() == error;
    if (!error)
        right &= understood(&command);
    check(right, 'C');
}

/* ---- T ---- */

static uint16_t to_send;

static bool send_next(uint8_t *byte)
{
    if (!to_send)
        return false;
    to_send--;
    *byte = next();
    return true;
}

static void hold_replies(const char *bytes, uint8_t length)
{
    for (uint8_t i = 0; *bytes == 'R' && i < length; i++)
        hold((uint8_t)bytes[i]);
}

static void new_board(void)
{
    test_port_reset();
    test_port.receive = send_next;
    test_port.send = hold_replies;
    board_start(RESET_POWER_ON);
    test_measure(2594, 2419, 49870);
}

static void check_step(void)
{
    to_send = (uint16_t)next_number();
    held_length = 0;
    while (to_send)
        board_poll();
    for (uint8_t i = 0; i < 100; i++)
        board_poll();
    check(holds_next(), 'T');
}

/* ---- L ---- */

static void check_stream(void)
{
    struct receiver receiver = {.length = 0};

    held_length = 0;
    for (uint32_t length = next_number(); length; length--) {
        char kind = receiver_feed(&receiver, next());
        if (kind && kind != LINE_EMPTY)
            hold((uint8_t)kind);
    }
    check(holds_next(), 'L');
}

int main(void)
{
    uint8_t kind;

    say_begin();
    check(crc16((const uint8_t *)"123456789", 9) == 0x29B1, 'c');
    while ((kind = next()) != '.') {
        switch (kind) {
        case 'F': check_frame(); break;
        case 'C': check_command(); break;
        case 'N': new_board(); break;
        case 'T': check_step(); break;
        default: check_stream(); break;
        }
    }
    say_number(checked);
    say_text(" checked, ");
    say_number(failures);
    say_text(" wrong\n");
    return say_end(failures);
}
