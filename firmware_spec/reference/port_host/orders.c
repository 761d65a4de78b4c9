#define _XOPEN_SOURCE 700

#include "orders.h"

#include <poll.h>
#include <stdbool.h>
#include <stddef.h>
#include <unistd.h>

static char heard[4096];
static size_t heard_count, heard_at;
static bool over;

static bool next_byte(char *byte)
{
    struct pollfd input = {STDIN_FILENO, POLLIN, 0};
    ssize_t got;

    if (heard_at == heard_count) {
        if (over || poll(&input, 1, 0) != 1)
            return false;
        got = read(STDIN_FILENO, heard, sizeof heard);
        over = got <= 0;
        heard_count = over ? 0 : (size_t)got;
        heard_at = 0;
    }
    if (over)
        return false;
    *byte = heard[heard_at++];
    return true;
}

const char *orders_next(void)
{
    static char line[ORDER_BYTES];
    static size_t length;
    char byte;

    while (next_byte(&byte)) {
        if (byte == '\n') {
            line[length] = 0;
            length = 0;
            return line;
        }
        if (length < sizeof line - 1)
            line[length++] = byte;
    }
    return NULL;
}
