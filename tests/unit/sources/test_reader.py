"""The reader of the line: when it gives a line up, and when it greets the board again."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import pytest

from daq.records import Input
from daq.sources import serial_line as module
from daq.sources.ports import LineSettings
from daq.sources.serial_line import LinkLost, SerialLine

HEARTBEAT, SAMPLE = b"H,00000001,00,0000,0000*0000\n", b"\nS,0000,00000000,0000,0000,C350,40*0000\n"


class Played:
    """A port that gives one piece at each look."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces

    def read(self, size: int) -> bytes:
        return next(self._pieces)


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> SerialLine:
    monkeypatch.setattr(module, "SILENCE_S", 0.05)
    return SerialLine(LineSettings(port="loop://"))


def read(line: SerialLine, pieces: Iterator[bytes], bare: bool = False) -> list[Input]:
    seen: list[Input] = []
    line._read(Played(pieces), 0.002, bare, seen.append)
    return seen


def test_a_boot_line_asks_for_a_greeting(line: SerialLine) -> None:
    assert len(read(line, iter([SAMPLE, SAMPLE, b"\nB,04,0002,01*0000\n"]))) == 3


def test_a_boot_line_in_two_pieces_is_seen(line: SerialLine) -> None:
    assert len(read(line, iter([SAMPLE, b"\n", b"B,04,0002,01*0000\n"]))) == 3


def test_lines_without_samples_ask_for_a_greeting(line: SerialLine) -> None:
    """The board has restarted and its boot line was damaged: it waits to be started, and its heart beats."""
    assert read(line, itertools.cycle([HEARTBEAT, b""]))


def test_samples_keep_it_reading(line: SerialLine) -> None:
    pieces = itertools.chain([SAMPLE, HEARTBEAT] * 100, [b"\nB,00"])
    assert len(read(line, pieces)) == 201


def test_a_bare_board_has_no_sample_lines_to_miss(line: SerialLine) -> None:
    pieces = itertools.chain([b"512,731\n"] * 100, itertools.repeat(b""))
    with pytest.raises(LinkLost):
        read(line, pieces, bare=True)


def test_silence_is_a_lost_line(line: SerialLine) -> None:
    with pytest.raises(LinkLost, match="no line"):
        read(line, itertools.repeat(b""))
