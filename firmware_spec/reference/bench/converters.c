/* The two converters that a firmware may find: its own, and an external one on the two-wire bus. */
#include <math.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_twi.h>

#include "mcu_parts.h"

#define SCALE 1023u        /* the simulator's own converter; the real one has CODES */
#define CODES 1024.0
#define I2C_ADDRESS 0x48
#define I2C_FULL_SCALE_V 4.096
#define I2C_CODES 32768.0

/* ---- noise ---- */

static double uniform(struct mcu *mcu)
{
    mcu->random ^= mcu->random << 13;
    mcu->random ^= mcu->random >> 7;
    mcu->random ^= mcu->random << 17;
    return ((double)(mcu->random >> 11) + 0.5) / 9007199254740992.0;
}

static double noise(struct mcu *mcu)
{
    if (mcu->noise_v <= 0.0)
        return 0.0;
    return mcu->noise_v * sqrt(-2.0 * log(uniform(mcu))) * cos(6.283185307179586 * uniform(mcu));
}

double part_volts(struct mcu *mcu, unsigned input)
{
    const struct course *course = &mcu->course[input];
    uint64_t since = part_now_cycles(mcu) - mcu->began_cycles;
    double part = since < mcu->lasts_cycles ? (double)since / (double)mcu->lasts_cycles : 1.0;

    return course->from_v + part * (course->to_v - course->from_v) + noise(mcu);
}

double part_clip(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

/* ---- the microcontroller's own converter ---- */

/* The simulator wants millivolts and computes a code of them; it is given those that make the code of the real chip. */
static void on_conversion(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct mcu *mcu = param;
    union {
        avr_adc_mux_t mux;
        uint32_t value;
    } asked = {.value = value};
    uint32_t reference_mv = mcu->avr->avcc;
    double code;

    (void)irq;
    if (asked.mux.kind != ADC_MUX_SINGLE || asked.mux.src >= INPUTS)
        return;
    code = floor(part_volts(mcu, asked.mux.src) / mcu->supply_v * CODES);
    code = part_clip(code, 0.0, CODES - 1.0);
    avr_raise_irq(avr_io_getirq(mcu->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + (int)asked.mux.src),
                  ((uint32_t)code * reference_mv + SCALE - 1) / SCALE);
}

void part_own_converter(struct mcu *mcu)
{
    avr_irq_register_notify(avr_io_getirq(mcu->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_conversion, mcu);
}

/* ---- the external converter: registers of a pointer byte and two bytes ---- */

static void i2c_say(struct mcu *mcu, uint8_t what, uint8_t data)
{
    avr_raise_irq(mcu->i2c.irq + TWI_IRQ_INPUT, avr_twi_irq_msg(what, I2C_ADDRESS << 1, data));
}

static void i2c_convert(struct mcu *mcu)
{
    double volts = part_volts(mcu, mcu->i2c.config_high >> 4 & 3);

    mcu->i2c.result = (int16_t)part_clip(floor(volts / I2C_FULL_SCALE_V * I2C_CODES), -I2C_CODES, I2C_CODES - 1.0);
}

static void i2c_written(struct mcu *mcu, uint8_t byte)
{
    uint8_t number = mcu->i2c.written++;

    if (number == 0)
        mcu->i2c.pointer = byte;
    else if (number == 1)
        mcu->i2c.config_high = byte;
    else if (number == 2 && mcu->i2c.pointer == 1 && mcu->i2c.config_high & 0x80)
        i2c_convert(mcu);
}

static void on_i2c(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct mcu *mcu = param;
    avr_twi_msg_irq_t said = {.u.v = value};

    (void)irq;
    if (said.u.twi.msg & TWI_COND_STOP)
        mcu->i2c.selected = false;
    if (said.u.twi.msg & TWI_COND_START) {
        mcu->i2c.selected = mcu->plugged && said.u.twi.addr >> 1 == I2C_ADDRESS;
        mcu->i2c.written = mcu->i2c.read = 0;
        if (mcu->i2c.selected)
            i2c_say(mcu, TWI_COND_ACK, 1);
    }
    if (!mcu->i2c.selected)
        return;
    if (said.u.twi.msg & TWI_COND_WRITE) {
        i2c_say(mcu, TWI_COND_ACK, 1);
        i2c_written(mcu, said.u.twi.data);
    }
    if (said.u.twi.msg & TWI_COND_READ)
        i2c_say(mcu, TWI_COND_READ, (uint8_t)(mcu->i2c.read++ ? mcu->i2c.result : mcu->i2c.result >> 8));
}

void part_i2c_converter(struct mcu *mcu)
{
    static const char *names[TWI_IRQ_COUNT] = {"input", "output", "status"};
    avr_t *avr = mcu->avr;

    mcu->i2c.irq = avr_alloc_irq(&avr->irq_pool, 0, TWI_IRQ_COUNT, names);
    avr_irq_register_notify(mcu->i2c.irq + TWI_IRQ_OUTPUT, on_i2c, mcu);
    avr_connect_irq(mcu->i2c.irq + TWI_IRQ_INPUT, avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT));
    avr_connect_irq(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), mcu->i2c.irq + TWI_IRQ_OUTPUT);
}
