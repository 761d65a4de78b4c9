/* A port that is nothing but memory: the test sets what the board finds, and looks at what it did. */
#ifndef PORT_TEST_H
#define PORT_TEST_H

#include <stdbool.h>
#include <stdint.h>

#define TEST_EEPROM_BYTES 128

struct test_port {
    uint32_t now_us;
    uint16_t room;
    uint16_t rate_hz;
    bool button_down;
    bool light;
    bool memory_sound;
    uint8_t writes_left; /* EEPROM writes until the power fails; 255 never fails */
    uint8_t eeprom[TEST_EEPROM_BYTES];
    bool (*receive)(uint8_t *byte);
    void (*send)(const char *bytes, uint8_t length);
};
extern struct test_port test_port;

/* A new board with an erased EEPROM that has measured once: 100.0 and 92.0 psi at 5 V. */
void test_port_reset(void);
void test_measure(uint16_t supply, uint16_t cylinder, uint16_t reference);

#endif
