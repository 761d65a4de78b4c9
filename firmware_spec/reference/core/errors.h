/* What goes wrong with commands, and the queue that remembers it. Numbers and texts: SCPI-1999, volume 2, 21.8. */
#ifndef ERRORS_H
#define ERRORS_H

#include <stdint.h>

enum {
    NO_ERROR = 0,
    DATA_TYPE_ERROR = -104,
    PARAMETER_NOT_ALLOWED = -108,
    MISSING_PARAMETER = -109,
    UNDEFINED_HEADER = -113,
    SETTINGS_CONFLICT = -221,
    DATA_OUT_OF_RANGE = -222,
    ILLEGAL_PARAMETER_VALUE = -224,
    QUEUE_OVERFLOW = -350
};

const char *error_text(int16_t number);

void errors_clear(void);
uint8_t errors_count(void);
void errors_add(int16_t number); /* a ninth makes the newest one QUEUE_OVERFLOW */
int16_t errors_take(void);       /* the oldest; NO_ERROR when there is none */

#endif
