#include "core_rig.h"

#include <string.h>

#include "board.h"
#include "frames.h"
#include "port.h"
#include "port_test.h"
#include "receiver.h"
#include "say.h"

uint16_t failures, checked;

void check_at(bool right, const char *file, uint16_t line)
{
    checked++;
    if (right)
        return;
    failures++;
    say_text("wrong: ");
    say_text(file);
    say_char(':');
    say_number(line);
    say_char('\n');
}

static char sent[24];  /* the kind of each line, oldest first */
static uint8_t sent_count;
char last_sample[40], last_heartbeat[32], last_input[24], last_reply[64];
uint8_t bad_lines;
const char *to_hear;

static char *place_of(char kind, uint8_t *size)
{
    switch (kind) {
    case 'S': *size = sizeof last_sample; return last_sample;
    case 'H': *size = sizeof last_heartbeat; return last_heartbeat;
    case 'I': *size = sizeof last_input; return last_input;
    default: *size = sizeof last_reply; return last_reply;
    }
}

static void on_line(char kind, const char *bytes, uint8_t length)
{
    uint8_t size;
    char *place = place_of(kind, &size);

    if (sent_count < sizeof sent)
        sent[sent_count++] = kind;
    if (kind >= 'a' && kind <= 'z')
        bad_lines++;
    if (kind == 'B')
        return;
    length = length < size ? length : (uint8_t)(size - 1);
    memcpy(place, bytes, length);
    place[length] = 0;
}

static void on_send(const char *bytes, uint8_t length)
{
    struct receiver receiver = {.length = 0};

    check(length <= test_port.room);
    for (uint8_t i = 0; i < length; i++) {
        char kind = receiver_feed(&receiver, (uint8_t)bytes[i]);
        if (kind && kind != LINE_EMPTY)
            on_line(kind, bytes, length);
    }
    check(bytes[length - 1] == '\n');
}

static bool hear(uint8_t *byte)
{
    if (!to_hear || !*to_hear)
        return false;
    *byte = (uint8_t)*to_hear++;
    return true;
}

void forget(void)
{
    sent_count = 0;
    memset(last_sample, 0, sizeof last_sample);
    memset(last_heartbeat, 0, sizeof last_heartbeat);
    memset(last_input, 0, sizeof last_input);
    memset(last_reply, 0, sizeof last_reply);
}

void start(void)
{
    test_port.send = on_send;
    test_port.receive = hear;
    to_hear = "";
    forget();
    board_start(RESET_POWER_ON);
}

void new_board(void)
{
    test_port_reset();
    start();
    test_measure(2594, 2419, 50000);
}

void polls(uint8_t count)
{
    while (count--)
        board_poll();
}

bool answers(const char *command, const char *reply)
{
    forget();
    to_hear = command;
    polls(120);
    return !strncmp(last_reply + 7, reply, strlen(reply));
}

bool sent_are(const char *kinds)
{
    return sent_count == strlen(kinds) && !memcmp(sent, kinds, sent_count);
}

/* Flags of the last sample. */
bool flags_are(const char *flags)
{
    return !memcmp(last_sample + 31, flags, 2);
}

void wait_until(uint32_t us)
{
    test_port.now_us = us;
    polls(2);
}
