/* What the golden vectors do not show: power that fails, bytes that rot, contacts that bounce, a line that is full, a clock
 * that wraps. Runs on a computer and on the microcontroller. */
#include <string.h>

#include "board.h"
#include "button.h"
#include "errors.h"
#include "frames.h"
#include "light.h"
#include "port.h"
#include "port_test.h"
#include "receiver.h"
#include "sampler.h"
#include "say.h"
#include "store.h"

static uint16_t failures, checked;

static void check_at(bool right, uint16_t line)
{
    checked++;
    if (right)
        return;
    failures++;
    say_text("wrong: line ");
    say_number(line);
    say_char('\n');
}
#define check(right) check_at(right, __LINE__)

/* ---- a board, and what it sent last of each kind ---- */

static char sent[24];  /* the kind of each line, oldest first */
static uint8_t sent_count;
static char last_sample[40], last_heartbeat[32], last_input[24], last_reply[64];
static uint8_t bad_lines;
static const char *to_hear;

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

static void forget(void)
{
    sent_count = 0;
    memset(last_sample, 0, sizeof last_sample);
    memset(last_heartbeat, 0, sizeof last_heartbeat);
    memset(last_input, 0, sizeof last_input);
    memset(last_reply, 0, sizeof last_reply);
}

static void start(void)
{
    test_port.send = on_send;
    test_port.receive = hear;
    to_hear = "";
    forget();
    board_start(RESET_POWER_ON);
}

static void new_board(void)
{
    test_port_reset();
    start();
    test_measure(2594, 2419, 50000);
}

static void polls(uint8_t count)
{
    while (count--)
        board_poll();
}

static bool answers(const char *command, const char *reply)
{
    forget();
    to_hear = command;
    polls(120);
    return !strncmp(last_reply + 7, reply, strlen(reply));
}

static bool sent_are(const char *kinds)
{
    return sent_count == strlen(kinds) && !memcmp(sent, kinds, sent_count);
}

/* Flags of the last sample. */
static bool flags_are(const char *flags)
{
    return !memcmp(last_sample + 31, flags, 2);
}

/* ---- calibration store ---- */

static const struct calibration old_line = {500000, 258553, 20250110}, new_line = {-12345, 777777, 20260228};

static bool same(const struct calibration *a, const struct calibration *b)
{
    return a->zero_uv == b->zero_uv && a->pa_per_v == b->pa_per_v && a->date == b->date;
}

static void write_out(void)
{
    for (uint8_t i = 0; store_busy() && i < 200; i++)
        store_step();
}

static void test_store_keeps(void)
{
    struct calibration found;

    test_port_reset();
    store_load();
    check(store_boot_count() == 1 && !store_calibrated() && !store_damaged());
    check(!store_get(1, &found) && found.date == 0);
    store_set(0, &old_line);
    store_set(1, &new_line);
    write_out();
    check(!store_busy());
    store_load();
    check(store_boot_count() == 2 && store_calibrated());
    check(store_get(0, &found) && same(&found, &old_line));
    check(store_get(1, &found) && same(&found, &new_line));
}

/* The power fails after each possible number of bytes: what is found is the old line or the new one. */
static void test_store_survives_a_cut(void)
{
    struct calibration found;
    bool seen_new = false;

    for (uint8_t left = 0; left < 40; left++) {
        test_port_reset();
        store_load();
        store_set(0, &old_line);
        write_out();
        store_set(0, &new_line);
        test_port.writes_left = left;
        write_out();
        store_load();
        check(store_get(0, &found) && (same(&found, &old_line) || same(&found, &new_line)));
        check(!seen_new || same(&found, &new_line));
        seen_new = same(&found, &new_line);
    }
    check(seen_new);
}

static bool copies_agree(void)
{
    for (uint8_t record = 16; record < 112; record = (uint8_t)(record + 32))
        if (memcmp(test_port.eeprom + record, test_port.eeprom + record + 16, 15))
            return false;
    return true;
}

static void test_store_survives_rot(void)
{
    struct calibration found;

    for (uint8_t at = 0; at < TEST_EEPROM_BYTES; at++) {
        test_port_reset();
        store_load();
        store_set(0, &old_line);
        store_set(1, &new_line);
        write_out();
        test_port.eeprom[at] ^= 0x10;
        store_load();
        check(store_get(0, &found) && same(&found, &old_line) && store_get(1, &found) && same(&found, &new_line));
        check(store_boot_count() == 2);
        write_out();
        check(copies_agree());
    }
}

/* What belongs to one channel is not taken for the other's, however whole it is. */
static void test_store_knows_its_places(void)
{
    test_port_reset();
    store_load();
    store_set(0, &old_line);
    write_out();
    memcpy(test_port.eeprom + 80, test_port.eeprom + 48, 32);
    store_load();
    check(!store_calibrated() && store_damaged());
}

/* A reply says that what was ordered is in its place. */
static void test_reply_waits_for_the_store(void)
{
    new_board();
    polls(60);
    test_port.writes_left = 250;
    forget();
    to_hear = "CAL:DATA SUPP,1,2,20250101\n";
    polls(8);
    check(!store_busy() || last_reply[0] == 0);
    check(store_busy());
    polls(40);
    check(!store_busy() && !strncmp(last_reply, "R,0000,0,*", 10));
}

static void test_store_damaged(void)
{
    new_board();
    check(answers("CAL:DATA CYL,1,2,20250101\nCAL:DATA SUPP,1,2,20250101\n", "0,*"));
    check(answers("CAL:STAT?\n", "0,1*"));
    memset(test_port.eeprom + 48, 0x33, 32);
    start();
    test_measure(2594, 2419, 50000);
    check(answers("CAL:STAT?\n", "0,0*"));
    check(answers("CAL:DATA? SUPP\n", "0,0,0,00000000*"));
    check(answers("CAL:DATA? CYL\n", "0,1,2,20250101*"));
    check(answers("*TST?\n", "0,8*"));
    check(answers("CAL:DATA SUPP,1,2,20250101\n", "0,*"));
    check(answers("*TST?\n", "0,0*"));
}

/* ---- self-test ---- */

static void test_self_test(void)
{
    new_board();
    check(answers("*TST?\n", "0,0*"));
    test_measure(204, 3892, 47499);
    check(answers("*TST?\n", "0,7*"));
    test_measure(205, 3891, 47500);
    check(answers("*TST?\n", "0,0*"));
    test_measure(2000, 2000, 52501);
    check(answers("*TST?\n", "0,1*"));
    test_measure(2000, 2000, 0);
    check(answers("*TST?\n", "0,0*"));
    test_port.memory_sound = false;
    check(answers("*TST?\n", "0,16*"));
    sampler_failed();
    check(answers("*TST?\n", "0,22*"));
}

/* ---- button ---- */

static void edge(uint32_t at_us, bool down)
{
    test_port.now_us = at_us;
    test_port.button_down = down;
    button_edge(at_us);
    polls(1);
}

static void wait_until(uint32_t us)
{
    test_port.now_us = us;
    polls(2);
}

static void test_button(void)
{
    new_board();
    edge(0x1000, true);
    edge(0x1100, false); /* it bounces */
    edge(0x1200, true);
    wait_until(0x1200 + 19999);
    check(sent_are("B") && button_is_down());
    wait_until(0x1200 + 20000);
    check(!strncmp(last_input, "I,00001000,01,01*", 17));
    forget();
    edge(0x9000, false); /* too short to be a release */
    edge(0x9010, true);
    wait_until(0x9010 + 20000);
    check(sent_are("") && button_is_down());
    edge(0x20000, false);
    wait_until(0x20000 + 20000);
    check(!strncmp(last_input, "I,00020000,01,00*", 17) && sent_are("I"));
}

static void test_button_over_the_wrap(void)
{
    new_board();
    edge(0xFFFFFFF0u, true);
    wait_until(19000);
    check(sent_are("BH") || sent_are("B"));
    wait_until(20000);
    check(!strncmp(last_input, "I,FFFFFFF0,01,01*", 17));
}

static void test_press_waits_for_room(void)
{
    new_board();
    test_port.room = 10;
    edge(1000, true);
    wait_until(30000);
    edge(40000, false);
    wait_until(70000);
    check(last_input[0] == 0);
    test_port.room = 255;
    wait_until(70001);
    wait_until(70002);
    check(!strncmp(last_input, "I,00009C40,01,00*", 17));
    check(sent_are("BII"));
}

/* ---- light ---- */

static uint8_t steps_on(bool running, bool fault, bool down)
{
    uint8_t on = 0;

    for (uint32_t step = 0; step < 16; step++)
        on = (uint8_t)(on + light_is_on(step << 16, running, fault, down));
    return on;
}

static void test_light(void)
{
    check(steps_on(false, false, false) == 1);
    check(steps_on(true, false, false) == 15);
    check(steps_on(false, true, false) == 8 && steps_on(true, true, false) == 8);
    check(steps_on(true, false, true) == 1);
}

/* ---- samples ---- */

static void test_overrun(void)
{
    new_board();
    answers("INIT\n", "0,*");
    forget();
    check(sampler_due());
    check(!sampler_due()); /* still converting */
    sampler_done(&(struct conversion){1000, 5, 6, 50000, true});
    polls(1);
    check(!strncmp(last_sample, "S,0000,000003E8,0005,0006,C350,22*", 34));
    test_measure(1, 2, 50000);
    polls(1);
    check(!strncmp(last_sample, "S,0002,", 7) && flags_are("00"));
    check(sampler_due());
    sampler_failed();
    test_measure(1, 2, 50000);
    polls(1);
    check(!strncmp(last_sample, "S,0004,", 7) && flags_are("02"));
    for (uint8_t i = 0; i < 6; i++)
        test_measure(1, 2, 50000); /* nobody fetches them: there is room for four */
    polls(5);
    check(!strncmp(last_sample, "S,0008,", 7) && flags_are("00"));
    test_measure(1, 2, 50000);
    polls(1);
    check(!strncmp(last_sample, "S,000B,", 7) && flags_are("02"));
}

static void test_stop_takes_back(void)
{
    new_board();
    answers("INIT\n", "0,*");
    test_measure(1, 2, 50000);
    polls(1);
    check(!strncmp(last_sample, "S,0000,", 7));
    test_measure(1, 2, 50000);
    check(sampler_due()); /* one waits, one is being measured */
    check(answers("ABOR\n", "0,*") && sent_are("R"));
    sampler_done(&(struct conversion){0, 1, 2, 50000, false});
    test_measure(1, 2, 50000);
    polls(3);
    check(sent_are("R"));
    answers("INIT\n", "0,*");
    test_measure(1, 2, 50000);
    polls(1);
    check(!strncmp(last_sample, "S,0001,", 7) && flags_are("00"));
    check(sampler_due()); /* none waits, one is being measured */
    answers("ABOR\n", "0,*");
    sampler_done(&(struct conversion){0, 1, 2, 50000, false});
    answers("INIT\n", "0,*");
    test_measure(1, 2, 50000);
    polls(1);
    check(!strncmp(last_sample, "S,0002,", 7) && flags_are("00"));
}

static void test_full_line(void)
{
    new_board();
    answers("INIT\n", "0,*");
    test_port.room = 100; /* enough for a sample, not for what may have to go first */
    forget();
    for (uint8_t i = 0; i < 3; i++) {
        test_measure(1, 2, 50000);
        polls(1);
    }
    check(sent_are(""));
    test_port.room = 255;
    test_measure(1, 2, 46000);
    polls(1);
    check(!strncmp(last_sample, "S,0003,", 7) && flags_are("0C"));
    test_measure(1, 2, 53000);
    polls(1);
    check(flags_are("10"));
    wait_until(1000000);
    check(!strncmp(last_heartbeat, "H,000F4240,01,0003,0000*", 24));
}

static void test_reply_waits(void)
{
    new_board();
    test_port.room = 5;
    check(!answers("@0001 INIT\nSYST:PROT?\n", "0,*"));
    test_measure(1, 2, 50000);
    polls(5);
    check(sent_are(""));
    test_port.room = 255;
    polls(9);
    check(sent_are("RRS") || sent_are("RSR"));
    check(!strncmp(last_reply, "R,0000,0,1*", 11));
}

/* What is told of samples that were not sent is told by the next that is. */
static void test_flags_outlive_a_drop(void)
{
    new_board();
    answers("INIT\n", "0,*");
    check(sampler_due() && !sampler_due());
    test_port.room = 30;
    sampler_done(&(struct conversion){0, 1, 2, 50000, false});
    polls(1);
    test_port.room = 255;
    test_measure(1, 2, 50000);
    polls(1);
    check(flags_are("06"));
    test_measure(1, 2, 50000);
    polls(1);
    check(flags_are("00"));
}

/* ---- limits of a command ---- */

static bool answers_of_length(uint8_t length, const char *ending, const char *reply)
{
    static char line[90];

    memset(line, ' ', length);
    memcpy(line, "*CLS", 4);
    strcpy(line + length, ending);
    return answers(line, reply);
}

static void test_limits(void)
{
    new_board();
    check(answers_of_length(80, "\n", "0,*"));
    check(answers_of_length(80, "\r\n", "0,*"));
    check(answers_of_length(81, "\n", "-113,"));
    check(answers_of_length(81, "\r\n", "-113,"));
    check(answers_of_length(80, "\r \n", "-113,"));
    check(answers("CONF:RATE 4294967496\n", "-222,"));
    check(answers("CAL:DATA SUPP,0,2000000000,20250101\n", "0,*"));
    check(answers("CAL:DATA SUPP,0,2000000001,20250101\n", "-222,"));
    check(answers("CAL:DATA SUPP,0,3000000001,20250101\n", "-222,"));
    check(answers("CAL:DATA? SUPP\n", "0,0,2000000000,20250101*"));
}

/* ---- heartbeat ---- */

static void test_heartbeat(void)
{
    new_board();
    forget();
    for (uint16_t tenth = 1; tenth <= 35; tenth++)
        wait_until(tenth * 100000uL);
    check(sent_are("HHH"));
    wait_until(9000000); /* held up: one, and no burst */
    wait_until(9900000);
    check(sent_are("HHHH"));
    wait_until(10000000);
    check(sent_are("HHHHH"));
}

static void test_heartbeat_over_the_wrap(void)
{
    test_port_reset();
    test_port.now_us = 0xFFFF0000u;
    start();
    forget();
    for (uint32_t ms = 0; ms < 3100; ms += 50)
        wait_until(0xFFFF0000u + ms * 1000u);
    check(sent_are("HHH"));
}

/* ---- a flood ---- */

static void test_flood(void)
{
    new_board();
    answers("INIT\n", "0,*");
    forget();
    to_hear = "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx";
    for (uint8_t i = 0; i < 4; i++) {
        test_measure(1, 2, 50000);
        polls(1);
    }
    check(sent_are("SSSS")); /* a few bytes at a time */
    check(answers("\n", "-113,"));
    check(sent_are("R"));
}

int main(void)
{
    say_begin();
    test_store_keeps();
    test_store_survives_a_cut();
    test_store_survives_rot();
    test_store_knows_its_places();
    test_reply_waits_for_the_store();
    test_store_damaged();
    test_flags_outlive_a_drop();
    test_limits();
    test_self_test();
    test_button();
    test_button_over_the_wrap();
    test_press_waits_for_room();
    test_light();
    test_overrun();
    test_stop_takes_back();
    test_full_line();
    test_reply_waits();
    test_heartbeat();
    test_heartbeat_over_the_wrap();
    test_flood();
    check(bad_lines == 0);
    say_number(checked);
    say_text(" checked, ");
    say_number(failures);
    say_text(" wrong\n");
    return say_end(failures);
}
