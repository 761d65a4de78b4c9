#include "frames.h"

#include "crc.h"

static void begin(struct line *line, char type)
{
    line->length = 0;
    line_char(line, type);
}

static void field8(struct line *line, uint8_t value)
{
    line_char(line, ',');
    line_hex8(line, value);
}

static void field16(struct line *line, uint16_t value)
{
    line_char(line, ',');
    line_hex16(line, value);
}

static void field32(struct line *line, uint32_t value)
{
    line_char(line, ',');
    line_hex32(line, value);
}

static void end(struct line *line, uint8_t start)
{
    uint16_t crc = crc16((const uint8_t *)line->text + start, (size_t)(line->length - start));

    line_char(line, '*');
    line_hex16(line, crc);
    line_char(line, '\n');
}

void frame_sample(struct line *line, const struct sample *sample)
{
    begin(line, 'S');
    field16(line, sample->sequence);
    field32(line, sample->clock_us);
    field16(line, sample->supply);
    field16(line, sample->cylinder);
    field16(line, sample->reference);
    field8(line, sample->flags);
    end(line, 0);
}

void frame_heartbeat(struct line *line, uint32_t clock_us, bool running, uint16_t dropped, uint16_t errors)
{
    begin(line, 'H');
    field32(line, clock_us);
    field8(line, running);
    field16(line, dropped);
    field16(line, errors);
    end(line, 0);
}

void frame_input(struct line *line, uint32_t clock_us, uint8_t number, bool pressed)
{
    begin(line, 'I');
    field32(line, clock_us);
    field8(line, number);
    field8(line, pressed);
    end(line, 0);
}

void frame_boot(struct line *line, uint8_t cause, uint16_t count, bool calibrated)
{
    line->length = 0;
    line_text(line, "\nB");
    field8(line, cause);
    field16(line, count);
    field8(line, calibrated);
    end(line, 1);
}

void frame_reply_begin(struct line *line, uint16_t tag)
{
    begin(line, 'R');
    field16(line, tag);
    line_char(line, ',');
}

void frame_reply_end(struct line *line)
{
    end(line, 0);
}
