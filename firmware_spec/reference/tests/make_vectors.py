"""Turns the golden vectors into one C array, which the test program reads from its beginning to its end.

    python3 make_vectors.py FOLDER_OF_VECTORS KINDS > vectors.h

KINDS is a choice of the letters below, so that a small microcontroller can take them in portions. A vector is its
letter and its fields; numbers are four bytes, lowest first; bytes come after their count, itself a number:

    F  type, fields..., line           a sound frame: the fields make the line
    C  line, tag, 0, header, number of arguments, arguments...      a command that is understood
       line, tag, error                                             and one that is refused
    N  (nothing)                       a new board, which T is told to
    T  sent, replies                   bytes to a board, and all replies to them
    L  bytes, kinds                    a stream, and a letter for each line: its type, or why it is rejected
    .  (nothing)                       the end
"""

from __future__ import annotations

import json
import struct
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

CHANNELS = {"SUPPLY": 0, "CYLINDER": 1}
TYPE_LETTERS = {"sample": "S", "heartbeat": "H", "input": "I", "reply": "R", "boot": "B"}
REASON_LETTERS = {
    "oversize": "o", "not_ascii": "a", "no_crc": "n", "bad_crc": "c", "unknown_type": "u", "bad_grammar": "g",
}  # fmt: skip
LETTERS = TYPE_LETTERS | REASON_LETTERS


def number(value: int) -> bytes:
    return struct.pack("<I", value & 0xFFFFFFFF)


def text(value: str) -> bytes:
    return number(len(value)) + value.encode("latin-1")


def frame(row: dict[str, Any]) -> bytes:
    """The line as the board sends it: a boot line with an LF before it."""
    fields = b"".join(text(value) if isinstance(value, str) else number(value) for value in row["fields"].values())
    start = "\n" if row["type"] == "boot" else ""
    return b"F" + TYPE_LETTERS[row["type"]].encode() + fields + text(f"{start}{row['line']}\n")


def command(row: dict[str, Any]) -> bytes:
    start = b"C" + text(row["line"]) + number(row["tag"]) + number(row.get("error", 0))
    if "error" in row:
        return start
    arguments = [CHANNELS[given] if given in CHANNELS else int(given) for given in row["arguments"]]
    header = row["header"] + "?" * row["query"]
    return start + text(header) + number(len(arguments)) + b"".join(map(number, arguments))


def session(row: dict[str, Any]) -> bytes:
    steps = (text(step["send"]) + text("".join(f"{line}\n" for line in step["replies"])) for step in row["steps"])
    return b"N" + b"".join(b"T" + step for step in steps)


def good_line(row: dict[str, Any]) -> bytes:
    return b"L" + text(row["line"] + "\n") + text(LETTERS[row["type"]])


def corrupt_line(row: dict[str, Any]) -> bytes:
    return b"L" + text(row["line"] + "\n") + text(LETTERS[row["reason"]])


def stream(row: dict[str, Any]) -> bytes:
    return b"L" + text(row["stream"]) + text("".join(LETTERS[name] for name in row["frames"]))


MAKERS = {
    "F": [("good_frames", frame)],
    "C": [("commands", command)],
    "T": [("sessions", session)],
    "L": [("good_frames", good_line), ("corrupt_lines", corrupt_line), ("streams", stream)],
}


def vectors(folder: Path, kinds: str) -> Iterator[bytes]:
    for kind in kinds:
        for name, make in MAKERS[kind]:
            rows = json.loads((folder / f"{name}.json").read_text(encoding="ascii"))
            yield from map(make, rows)
    yield b"."


def main(folder: str, kinds: str) -> None:
    data = b"".join(vectors(Path(folder), kinds))
    print(f"static const uint8_t vectors[{len(data)}] IN_FLASH = {{")
    for start in range(0, len(data), 24):
        print("".join(f"{byte}," for byte in data[start : start + 24]))
    print("};")


if __name__ == "__main__":
    main(*sys.argv[1:])
