#include "store.h"

#include "crc.h"
#include "port.h"

/* A copy: version, three numbers of four bytes with the lowest first, CRC of the record's number and all that. */
#define VERSION 1
#define CRC_AT 13
#define COPY_BYTES 15
#define COPIES 2
#define SLOT_BYTES 16
#define FIRST_ADDRESS 16 /* the first bytes of an EEPROM suffer first when the supply fails during a write */
#define WRITTEN (COPIES * COPY_BYTES)
#define BYTES_A_STEP 15

enum { BOOTS, CHANNELS, RECORDS = CHANNELS + 2 };

static struct record {
    uint8_t bytes[COPY_BYTES];
    uint8_t position; /* how many bytes of both copies are known to be written */
    bool sound;
    bool damaged;
} records[RECORDS];

static uint16_t address_of(uint8_t number, uint8_t position)
{
    uint8_t slot = (uint8_t)(number * COPIES + position / COPY_BYTES);

    return (uint16_t)(FIRST_ADDRESS + slot * SLOT_BYTES + position % COPY_BYTES);
}

static uint16_t crc_of(uint8_t number)
{
    uint16_t crc = crc_add(CRC_START, number);

    for (uint8_t i = 0; i < CRC_AT; i++)
        crc = crc_add(crc, records[number].bytes[i]);
    return crc;
}

/* Reads one copy into memory. Returns whether it is whole; `blank` stays true as long as all is erased. */
static bool read_copy(uint8_t number, uint8_t copy, bool *blank)
{
    uint8_t *bytes = records[number].bytes;
    uint16_t crc;

    for (uint8_t i = 0; i < COPY_BYTES; i++) {
        bytes[i] = port_eeprom_read(address_of(number, (uint8_t)(copy * COPY_BYTES + i)));
        *blank = *blank && bytes[i] == 0xFF;
    }
    crc = (uint16_t)(bytes[CRC_AT] | (uint16_t)bytes[CRC_AT + 1] << 8);
    return bytes[0] == VERSION && crc == crc_of(number);
}

/* The first copy is the newer one where both are whole. A copy that is not whole is mended from the other. */
static void load(uint8_t number)
{
    struct record *record = &records[number];
    bool blank = true;

    record->sound = read_copy(number, 0, &blank) || read_copy(number, 1, &blank);
    record->damaged = !record->sound && !blank;
    record->position = record->sound ? 0 : WRITTEN;
}

static int32_t number_at(const struct record *record, uint8_t which)
{
    const uint8_t *bytes = &record->bytes[1 + 4 * which];

    return (int32_t)(bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24);
}

static void set(uint8_t number, int32_t a, int32_t b, int32_t c)
{
    struct record *record = &records[number];
    const int32_t values[3] = {a, b, c};
    uint16_t crc;

    record->bytes[0] = VERSION;
    for (uint8_t i = 0; i < 12; i++)
        record->bytes[1 + i] = (uint8_t)((uint32_t)values[i / 4] >> (8 * (i % 4)));
    crc = crc_of(number);
    record->bytes[CRC_AT] = (uint8_t)crc;
    record->bytes[CRC_AT + 1] = (uint8_t)(crc >> 8);
    record->position = 0;
    record->sound = true;
    record->damaged = false;
}

void store_load(void)
{
    for (uint8_t number = 0; number < RECORDS; number++)
        load(number);
    set(BOOTS, records[BOOTS].sound ? (number_at(&records[BOOTS], 0) + 1) & 0xFFFF : 1, 0, 0);
}

uint16_t store_boot_count(void)
{
    return (uint16_t)number_at(&records[BOOTS], 0);
}

bool store_get(uint8_t channel, struct calibration *calibration)
{
    const struct record *record = &records[CHANNELS + channel];

    *calibration = (struct calibration){0, 0, 0};
    if (record->sound)
        *calibration = (struct calibration){number_at(record, 0), number_at(record, 1), number_at(record, 2)};
    return record->sound;
}

void store_set(uint8_t channel, const struct calibration *calibration)
{
    set((uint8_t)(CHANNELS + channel), calibration->zero_uv, calibration->pa_per_v, calibration->date);
}

bool store_calibrated(void)
{
    return records[CHANNELS].sound && records[CHANNELS + 1].sound;
}

bool store_damaged(void)
{
    return records[CHANNELS].damaged || records[CHANNELS + 1].damaged;
}

bool store_busy(void)
{
    for (uint8_t number = 0; number < RECORDS; number++)
        if (records[number].position < WRITTEN)
            return true;
    return !port_eeprom_ready();
}

/* Writes one byte at most, and skips some that are right already: they need no write and wear nothing out. */
static void write_out(uint8_t number)
{
    struct record *record = &records[number];

    for (uint8_t i = 0; i < BYTES_A_STEP && record->position < WRITTEN; i++) {
        uint16_t address = address_of(number, record->position);
        uint8_t byte = record->bytes[record->position % COPY_BYTES];
        record->position++;
        if (port_eeprom_read(address) != byte) {
            port_eeprom_write(address, byte);
            return;
        }
    }
}

void store_step(void)
{
    if (!port_eeprom_ready())
        return;
    for (uint8_t number = 0; number < RECORDS; number++)
        if (records[number].position < WRITTEN) {
            write_out(number);
            return;
        }
}
