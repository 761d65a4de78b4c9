/* Before anything else: why the microcontroller starts. The watchdog still runs after its own reset, with its shortest time. */
#include <avr/io.h>
#include <avr/wdt.h>

#include "avr.h"

uint8_t reset_remembered __attribute__((section(".noinit")));

void remember_reset(void) __attribute__((naked, used, section(".init3")));
void remember_reset(void)
{
    reset_remembered = MCUSR;
    MCUSR = 0;
    wdt_disable();
}
