"""The faults of the serial line."""

from __future__ import annotations

import pytest

from daq.wire import BadFrame, Decoder, Heartbeat
from simulator.line import Line, LineTraits

LINES = b"".join(Heartbeat(number, False, 0, 0).encode() for number in range(400))


def carry(line: Line, data: bytes, size: int) -> bytes:
    return b"".join(line.carry(data[at : at + size]) for at in range(0, len(data), size))


def damaged(data: bytes) -> int:
    return sum(isinstance(frame, BadFrame) for frame in Decoder().feed(data))


def test_a_good_line_changes_nothing() -> None:
    assert carry(Line(LineTraits(), 1), LINES, 100) == LINES


@pytest.mark.parametrize("size", [1, 17, 5000])
def test_lost_bytes(size: int) -> None:
    line = Line(LineTraits(), 1)
    line.drop_bytes(30)
    assert carry(line, LINES, size) == LINES[30:]


@pytest.mark.parametrize("size", [1, 17, 29, 5000])
def test_each_of_the_next_lines_is_corrupted_once(size: int) -> None:
    line = Line(LineTraits(), 1)
    line.carry(LINES[:29])
    line.corrupt_lines(5)
    arrived = carry(line, LINES[29:], size)
    changed = [at for at, (was, now) in enumerate(zip(LINES[29:], arrived, strict=True)) if was != now]
    assert [at // 29 for at in changed] == [0, 1, 2, 3, 4]
    assert damaged(LINES[:29] + arrived) == 5


def test_a_line_that_has_begun_is_spared() -> None:
    line = Line(LineTraits(), 1)
    line.carry(LINES[:40])
    line.corrupt_lines(1)
    arrived = line.carry(LINES[40:])
    changed = [at for at, (was, now) in enumerate(zip(LINES[40:], arrived, strict=True)) if was != now]
    assert [(40 + at) // 29 for at in changed] == [2]


def test_invented_bytes_come_before_the_next_byte() -> None:
    line = Line(LineTraits(), 1)
    line.invent(50)
    arrived = carry(line, LINES, 11)
    assert arrived[50:] == LINES
    assert arrived[:50] != bytes(50)


@pytest.mark.parametrize("size", [1, 17, 20_000])
def test_random_losses_and_flips_have_their_rates_and_do_not_depend_on_the_cut(size: int) -> None:
    data = LINES * 20
    lossy = carry(Line(LineTraits(drop_probability=0.01), 5), data, size)
    flipped = carry(Line(LineTraits(flip_probability=0.01), 5), data, size)
    assert lossy == Line(LineTraits(drop_probability=0.01), 5).carry(data)
    assert len(data) - len(lossy) == pytest.approx(0.01 * len(data), rel=0.1)
    changes = [was ^ now for was, now in zip(data, flipped, strict=True) if was != now]
    assert len(changes) == pytest.approx(0.01 * len(data), rel=0.1)
    assert {change.bit_count() for change in changes} == {1}


def test_another_seed_hits_elsewhere() -> None:
    arrived = [Line(LineTraits(flip_probability=0.01), seed).carry(LINES) for seed in (1, 1, 2)]
    assert arrived[0] == arrived[1] != arrived[2]
