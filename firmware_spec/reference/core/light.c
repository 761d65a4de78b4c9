#include "light.h"

bool light_is_on(uint32_t now_us, bool running, bool fault, bool mark_down)
{
    uint8_t step = (uint8_t)(now_us >> 16) & 15;
    bool on = fault ? (step & 3) < 2 : running ? step != 0 : step == 0;

    return on != mark_down;
}
