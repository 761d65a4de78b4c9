#include "button.h"

#include "port.h"

#define STEADY_US 20000u

static volatile bool watching;
static volatile bool settled_down;
static uint32_t first_edge_us, last_edge_us;

void button_reset(void)
{
    watching = settled_down = false;
}

void button_edge(uint32_t now_us)
{
    if (!watching)
        first_edge_us = now_us;
    last_edge_us = now_us;
    watching = true;
}

bool button_is_down(void)
{
    return settled_down != watching;
}

bool button_poll(uint32_t now_us, bool down, uint32_t *edge_us, bool *pressed)
{
    uint8_t before = port_lock();
    bool changed = false;

    if (!watching && down != settled_down)
        button_edge(now_us); /* held down at the start, or an edge too short to be seen */
    else if (watching && (int32_t)(now_us - last_edge_us) >= (int32_t)STEADY_US) {
        watching = false;
        changed = down != settled_down;
        settled_down = down;
    }
    *edge_us = first_edge_us;
    *pressed = down;
    port_unlock(before);
    return changed;
}
