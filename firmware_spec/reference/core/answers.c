#include "answers.h"

#include "board.h"
#include "command.h"
#include "errors.h"
#include "frames.h"
#include "port.h"
#include "sampler.h"
#include "store.h"

#define PROTOCOL_VERSION 1

static void put_number(struct line *reply, int32_t value)
{
    line_decimal(reply, value, 1);
}

static void put_next_error(struct line *reply)
{
    int16_t number = errors_take();

    put_number(reply, number);
    line_text(reply, ",\"");
    line_text(reply, error_text(number));
    line_char(reply, '"');
}

static void put_converter(struct line *reply)
{
    put_number(reply, port_traits()->bits);
    line_text(reply, port_traits()->absolute ? ",ABS" : ",RATIO");
}

static void put_calibration(struct line *reply, uint8_t channel)
{
    struct calibration stored;

    store_get(channel, &stored);
    put_number(reply, stored.zero_uv);
    line_char(reply, ',');
    put_number(reply, stored.pa_per_v);
    line_char(reply, ',');
    line_decimal(reply, stored.date, 8);
}

static int16_t set_calibration(const int32_t *arguments)
{
    const struct calibration given = {arguments[1], arguments[2], arguments[3]};

    if (sampler_running())
        return SETTINGS_CONFLICT;
    store_set((uint8_t)arguments[0], &given);
    return NO_ERROR;
}

static int16_t set_defaults(void)
{
    sampler_run(false);
    return board_set_rate(RATE_DEFAULT_HZ);
}

/* A query: its text. */
static void inform(struct line *reply, const struct command *command)
{
    switch (command->id) {
    case COMMAND_IDENTITY: line_text(reply, port_traits()->identity); break;
    case COMMAND_SELF_TEST: put_number(reply, board_self_test()); break;
    case COMMAND_NEXT_ERROR: put_next_error(reply); break;
    case COMMAND_PROTOCOL: put_number(reply, PROTOCOL_VERSION); break;
    case COMMAND_RATE: put_number(reply, board_rate()); break;
    case COMMAND_CONVERTER: put_converter(reply); break;
    case COMMAND_CALIBRATION: put_calibration(reply, (uint8_t)command->arguments[0]); break;
    case COMMAND_CALIBRATION_STATE: put_number(reply, store_calibrated()); break;
    default: break;
    }
}

/* A command that sets something: 0, or the number of the error. */
static int16_t obey(const struct command *command)
{
    switch (command->id) {
    case COMMAND_DEFAULTS: return set_defaults();
    case COMMAND_CLEAR: errors_clear(); break;
    case COMMAND_SET_RATE: return board_set_rate(command->arguments[0]);
    case COMMAND_INITIATE: sampler_run(true); break;
    case COMMAND_ABORT: sampler_run(false); break;
    case COMMAND_SET_CALIBRATION: return set_calibration(command->arguments);
    default: break;
    }
    return NO_ERROR;
}

void answer(struct line *reply, const char *text, uint8_t length)
{
    struct command command;
    int16_t error = command_read(&command, text, length);

    if (!error)
        error = obey(&command);
    frame_reply_begin(reply, command.tag);
    put_number(reply, error);
    line_char(reply, ',');
    if (error) {
        line_text(reply, error_text(error));
        errors_add(error);
    } else {
        inform(reply, &command);
    }
    frame_reply_end(reply);
}
