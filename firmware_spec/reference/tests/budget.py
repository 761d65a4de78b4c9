"""Checks that a firmware fits: flash, variables, and the deepest that the stack can get.

    python3 budget.py FIRMWARE.elf FOLDER_OF_STACK_USAGE FLASH_MOST VARIABLES_MOST STACK_MOST

The stack is counted along the deepest chain of calls from `main`, and on top of it the deepest interrupt, as interrupts
do not nest. What a function needs of its own is in the compiler's .su files, who calls whom is read from the program.
Recursion or a call through a pointer is an error: then nobody can tell.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

RETURN_ADDRESS = 2
LIBRARY_BYTES = 24
"""For a function of the compiler's or the C library, and what that calls, which come without a figure: they keep their
values in registers, of which there are 32, and save a few."""
FUNCTION = re.compile(r"^[0-9a-f]+ <([^>]+)>:$")
CALL = re.compile(r"\t(r?call|r?jmp|icall|ijmp|eicall|br\w+)\t?.*?(?:<([^>+]+)(\+0x[0-9a-f]+)?>)?$")


def output(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def own_usage(folder: Path) -> dict[str, int]:
    """Bytes of stack for each function, as the compiler says. A static function that shares its name with another
    counts as the larger of the two."""
    usage: dict[str, int] = {}
    for line in "".join(path.read_text() for path in folder.rglob("*.su")).splitlines():
        place, size, kind = line.split("\t")
        assert kind == "static", f"{place}: the compiler cannot tell how deep this goes"
        name = place.rpartition(":")[2]
        usage[name] = max(usage.get(name, 0), int(size))
    return usage


def calls(elf: str) -> dict[str, set[str]]:
    """Who calls, or jumps to, whom."""
    found: dict[str, set[str]] = {}
    name = ""
    for line in output("avr-objdump", "-d", "--no-show-raw-insn", elf).splitlines():
        if start := FUNCTION.match(line):
            name = start[1]
            found[name] = set()
        elif (call := CALL.search(line)) and name:
            assert call[1] not in ("icall", "eicall"), f"{name} calls through a pointer"
            if call[2] and call[2] != name:
                found[name].add(call[2])
    return found


def depth(name: str, graph: dict[str, set[str]], usage: dict[str, int], above: tuple[str, ...] = ()) -> int:
    """Bytes of stack from the call of a function on."""
    assert name not in above, f"recursion: {' > '.join((*above, name))}"
    if name not in usage:
        return RETURN_ADDRESS + LIBRARY_BYTES
    return (
        RETURN_ADDRESS
        + usage[name]
        + max((depth(other, graph, usage, (*above, name)) for other in graph.get(name, ())), default=0)
    )


def main(elf: str, folder: str, *most: str) -> int:
    text, data, bss = map(int, output("avr-size", elf).splitlines()[1].split()[:3])
    graph, usage = calls(elf), own_usage(Path(folder))
    interrupts = [name for name in graph if re.fullmatch(r"__vector_\d+", name)]
    stack = depth("main", graph, usage) + max(depth(name, graph, usage) for name in interrupts)
    found = {"flash": text + data, "variables": data + bss, "stack": stack}
    for (what, size), limit in zip(found.items(), map(int, most), strict=True):
        print(f"{elf}: {what} {size} of {limit} bytes{'' if size <= limit else ': TOO MUCH'}")
    return int(any(size > int(limit) for size, limit in zip(found.values(), most, strict=True)))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
