#include "errors.h"

#define MOST 8

static int16_t queue[MOST];
static uint8_t oldest, count;

static const struct {
    int16_t number;
    const char *text;
} texts[] = {
    {NO_ERROR, "No error"},
    {DATA_TYPE_ERROR, "Data type error"},
    {PARAMETER_NOT_ALLOWED, "Parameter not allowed"},
    {MISSING_PARAMETER, "Missing parameter"},
    {UNDEFINED_HEADER, "Undefined header"},
    {SETTINGS_CONFLICT, "Settings conflict"},
    {DATA_OUT_OF_RANGE, "Data out of range"},
    {ILLEGAL_PARAMETER_VALUE, "Illegal parameter value"},
    {QUEUE_OVERFLOW, "Queue overflow"},
};

const char *error_text(int16_t number)
{
    for (uint8_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (texts[i].number == number)
            return texts[i].text;
    return "";
}

void errors_clear(void)
{
    oldest = count = 0;
}

uint8_t errors_count(void)
{
    return count;
}

void errors_add(int16_t number)
{
    if (count < MOST)
        queue[(oldest + count++) % MOST] = number;
    else
        queue[(oldest + MOST - 1) % MOST] = QUEUE_OVERFLOW;
}

int16_t errors_take(void)
{
    int16_t number = queue[oldest];

    if (!count)
        return NO_ERROR;
    oldest = (uint8_t)((oldest + 1) % MOST);
    count--;
    return number;
}
