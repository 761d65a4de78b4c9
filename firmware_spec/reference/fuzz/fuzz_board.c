/* Any bytes at all as what happens to a board: commands, noise, time, conversions, presses, a full line, a reset with rotten
 * EEPROM. Whatever comes, each line that it sends is sound, each command line gets one reply and nothing else one, and work
 * is bounded. */
#include <stdlib.h>
#include <string.h>

#include "board.h"
#include "button.h"
#include "frames.h"
#include "port.h"
#include "port_test.h"
#include "receiver.h"
#include "sampler.h"

static const uint8_t *input;
static size_t left;
static size_t to_hear;              /* bytes of the input that are for the receiver */
static bool line_has_text;          /* of the command line that is being heard */
static unsigned commands, replies, lines_sent, bytes_taken;
static struct receiver host;

static void must(bool right)
{
    if (!right)
        abort();
}

static uint8_t next(void)
{
    if (!left)
        return 0;
    left--;
    return *input++;
}

static bool hear(uint8_t *byte)
{
    if (!to_hear || !left)
        return false;
    to_hear--;
    bytes_taken++;
    *byte = next();
    if (*byte == '\n') {
        commands += line_has_text;
        line_has_text = false;
    } else if (*byte != ' ' && *byte != '\t' && *byte != '\r') {
        line_has_text = true;
    }
    return true;
}

static void on_send(const char *bytes, uint8_t length)
{
    must(length <= test_port.room);
    test_port.room = (uint16_t)(test_port.room - length);
    for (uint8_t i = 0; i < length; i++) {
        char kind = receiver_feed(&host, (uint8_t)bytes[i]);
        must(!kind || kind == LINE_EMPTY || strchr("SHIRB", kind));
        lines_sent += kind && kind != LINE_EMPTY;
        replies += kind == 'R';
    }
    must(host.length == 0);
}

static void poll_once(void)
{
    lines_sent = bytes_taken = 0;
    board_poll();
    must(lines_sent <= 4 && bytes_taken <= 16);
    must(replies <= commands && commands <= replies + 1);
}

static void restart(void)
{
    test_port.room = 255;
    commands = replies = 0;
    line_has_text = false;
    host.length = 0;
    board_start((uint8_t)(next() % 6));
}

static void measure(void)
{
    struct conversion seen;

    seen.midpoint_us = test_port.now_us;
    seen.supply = (uint16_t)(next() << 4);
    seen.cylinder = (uint16_t)(next() << 4);
    seen.reference = (uint16_t)(next() << 8);
    seen.saturated = next() & 1;
    if (sampler_due())
        sampler_done(&seen);
}

static void press(void)
{
    test_port.button_down = !test_port.button_down;
    button_edge(test_port.now_us);
}

static void event(void)
{
    uint8_t what = next();

    switch (what & 7) {
    case 0: case 1: case 2: to_hear = what >> 3; break;
    case 3: test_port.now_us += (uint32_t)next() << (what >> 3); break;
    case 4: measure(); break;
    case 5: press(); break;
    case 6: test_port.room = next(); break;
    default:
        if (what & 0x80) {
            test_port.eeprom[next() % TEST_EEPROM_BYTES] ^= what;
            restart();
        } else if (what & 0x40) {
            sampler_failed();
        } else {
            sampler_due();
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    input = data;
    left = size;
    to_hear = 0;
    test_port_reset();
    test_port.receive = hear;
    test_port.send = on_send;
    restart();
    while (left) {
        event();
        for (uint8_t i = 0; i < 4; i++)
            poll_once();
    }
    test_port.room = 255;
    for (unsigned i = 0; i < 400; i++) {
        test_port.room = 255;
        poll_once();
    }
    must(replies == commands);
    return 0;
}
