/* What the core needs of the hardware. A port is a file or a few that define these functions, call board_start once and
 * board_poll for ever, and call sampler_due, sampler_done and button_edge from where things happen (interrupts).
 * Nothing here may block. */
#ifndef PORT_H
#define PORT_H

#include <stdbool.h>
#include <stdint.h>

/* Who the board is and what it can do. */
struct traits {
    const char *identity;     /* maker,model,serial,firmware: the answer to *IDN? */
    uint32_t baud;            /* of the line, bit/s */
    uint16_t fastest_hz;      /* what the converter can do, samples a second */
    uint16_t reference_low;   /* limits of the sensor supply, in units of the reference field */
    uint16_t reference_high;
    uint8_t bits;             /* full scale of the counts is 2^bits */
    bool absolute;            /* the reference field is a count of the sensor supply; else an estimate in 0.1 mV */
};
const struct traits *port_traits(void);

/* The board clock: microseconds since the start, modulo 2^32. Not to be called from interrupts of the port. */
uint32_t port_now_us(void);

/* Keep interrupts out, and let them in again as they were before. */
uint8_t port_lock(void);
void port_unlock(uint8_t before);

/* The line. port_send is only called with what port_room said there is room for. */
bool port_receive(uint8_t *byte);
uint16_t port_room(void);
void port_send(const char *bytes, uint8_t length);

/* From now on sampler_due is to be called so often; a rate that is running holds until its next sample. */
void port_set_rate(uint16_t rate_hz);

bool port_button_down(void);
void port_light(bool on);

/* A memory that outlives power-off; erased bytes read 0xFF. Read and write only when ready; a write takes its time. */
bool port_eeprom_ready(void);
uint8_t port_eeprom_read(uint16_t address);
void port_eeprom_write(uint16_t address, uint8_t value);

/* False once program or memory were found damaged. */
bool port_memory_sound(void);

#endif
