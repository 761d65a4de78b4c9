/* A line that is full, a clock that wraps, a flood of commands; the limits of a command. */
#include <string.h>

#include "board.h"
#include "core_rig.h"
#include "port_test.h"
#include "sampler.h"

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

void test_flow(void)
{
    test_overrun();
    test_stop_takes_back();
    test_full_line();
    test_reply_waits();
    test_flags_outlive_a_drop();
    test_limits();
    test_heartbeat();
    test_heartbeat_over_the_wrap();
    test_flood();
}
