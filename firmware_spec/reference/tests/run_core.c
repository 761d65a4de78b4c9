/* What the golden vectors do not show of the core. Runs on a computer and on the microcontroller. */
#include "core_rig.h"
#include "say.h"

int main(void)
{
    say_begin();
    test_store();
    test_panel();
    test_flow();
    check(bad_lines == 0);
    say_number(checked);
    say_text(" checked, ");
    say_number(failures);
    say_text(" wrong\n");
    return say_end(failures);
}
