"""The reader of the line: when it gives a line up, and when it greets the board again."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import pytest

from daq.records import Chunk, Input
from daq.sources import serial_line as module
from daq.sources.ports import LineSettings
from daq.sources.rhythm import Rhythm
from daq.sources.serial_line import LinkLost, SerialLine

HEARTBEAT, SAMPLE = b"H,00000001,00,0000,0000*0000\n", b"\nS,0000,00000000,0000,0000,C350,40*0000\n"
BOOT = b"\nB,04,0002,01*0000\n"


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


def read(line: SerialLine, pieces: Iterator[bytes], bare: bool = False) -> bytes:
    """All that was handed on."""
    seen: list[Input] = []
    line._read(Played(pieces), None if bare else Rhythm(500_000_000), seen.append)
    return b"".join(chunk.data for chunk in seen if isinstance(chunk, Chunk))


def test_a_boot_line_asks_for_a_greeting(line: SerialLine) -> None:
    assert read(line, iter([SAMPLE, SAMPLE, BOOT])) == SAMPLE + SAMPLE + BOOT


def test_a_boot_line_in_two_pieces_is_seen(line: SerialLine) -> None:
    assert read(line, iter([SAMPLE, BOOT[:1], BOOT[1:]])) == SAMPLE + BOOT


def test_lines_without_samples_ask_for_a_greeting(line: SerialLine) -> None:
    """The board has restarted and its boot line was damaged: it waits to be started, and its heart beats."""
    assert read(line, itertools.cycle([HEARTBEAT, b""]))


def test_samples_keep_it_reading(line: SerialLine) -> None:
    pieces = [SAMPLE, HEARTBEAT] * 100 + [b"\nB,00"]
    assert read(line, iter(pieces)) == b"".join(pieces)


def test_a_bare_board_has_no_sample_lines_to_miss(line: SerialLine) -> None:
    pieces = itertools.chain([b"512,731\n"] * 100, itertools.repeat(b""))
    with pytest.raises(LinkLost):
        read(line, pieces, bare=True)


def test_what_was_held_is_handed_on_before_the_line_is_given_up(line: SerialLine) -> None:
    """The first sample opens two ticks; the others of the same two ticks wait for their end, which never comes."""
    seen: list[Input] = []
    with pytest.raises(LinkLost):
        line._read(Played(itertools.chain([SAMPLE] * 3, itertools.repeat(b""))), Rhythm(500_000_000), seen.append)
    assert b"".join(chunk.data for chunk in seen if isinstance(chunk, Chunk)) == SAMPLE * 3


def test_silence_is_a_lost_line(line: SerialLine) -> None:
    with pytest.raises(LinkLost, match="no line"):
        read(line, itertools.repeat(b""))
