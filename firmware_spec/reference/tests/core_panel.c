/* The self-test, contacts that bounce, the light. */
#include <string.h>

#include "board.h"
#include "button.h"
#include "core_rig.h"
#include "light.h"
#include "port_test.h"
#include "sampler.h"

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

void test_panel(void)
{
    test_self_test();
    test_button();
    test_button_over_the_wrap();
    test_press_waits_for_room();
    test_light();
}
