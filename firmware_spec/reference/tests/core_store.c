/* Power that fails, bytes that rot. */
#include <string.h>

#include "core_rig.h"
#include "port_test.h"
#include "store.h"

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

void test_store(void)
{
    test_store_keeps();
    test_store_survives_a_cut();
    test_store_survives_rot();
    test_store_knows_its_places();
    test_reply_waits_for_the_store();
    test_store_damaged();
}
