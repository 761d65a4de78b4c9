#include "port_test.h"

#include <string.h>

#include "port.h"
#include "sampler.h"

#define NEVER_FAILS 255

struct test_port test_port;

static const struct traits traits = {
    .identity = "Invented Instruments,Bench Board,0042,1.0.3",
    .baud = 115200,
    .fastest_hz = 10000,
    .reference_low = 47500,
    .reference_high = 52500,
    .bits = 12,
    .absolute = false,
};

void test_port_reset(void)
{
    memset(&test_port, 0, sizeof test_port);
    memset(test_port.eeprom, 0xFF, sizeof test_port.eeprom);
    test_port.room = 255;
    test_port.memory_sound = true;
    test_port.writes_left = NEVER_FAILS;
}

void test_measure(uint16_t supply, uint16_t cylinder, uint16_t reference)
{
    const struct conversion seen = {test_port.now_us, supply, cylinder, reference, false};

    if (sampler_due())
        sampler_done(&seen);
}

const struct traits *port_traits(void)
{
    return &traits;
}

uint32_t port_now_us(void)
{
    return test_port.now_us;
}

uint8_t port_lock(void)
{
    return 0;
}

void port_unlock(uint8_t before)
{
    (void)before;
}

bool port_receive(uint8_t *byte)
{
    return test_port.receive && test_port.receive(byte);
}

uint16_t port_room(void)
{
    return test_port.room;
}

void port_send(const char *bytes, uint8_t length)
{
    if (test_port.send)
        test_port.send(bytes, length);
}

void port_set_rate(uint16_t rate_hz)
{
    test_port.rate_hz = rate_hz;
}

bool port_button_down(void)
{
    return test_port.button_down;
}

void port_light(bool on)
{
    test_port.light = on;
}

bool port_eeprom_ready(void)
{
    return true;
}

uint8_t port_eeprom_read(uint16_t address)
{
    return test_port.eeprom[address];
}

void port_eeprom_write(uint16_t address, uint8_t value)
{
    if (!test_port.writes_left)
        return;
    if (test_port.writes_left != NEVER_FAILS)
        test_port.writes_left--;
    test_port.eeprom[address] = value;
}

bool port_memory_sound(void)
{
    return test_port.memory_sound;
}
