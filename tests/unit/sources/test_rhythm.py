"""Bytes are handed on two ticks at a time, just after the second is closed, whatever the board's clock stands at."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from daq.measure.ticks import TICK_US
from daq.sources.rhythm import BUFFER_BYTES, HANDED_ON_US, LATE_S, MOST_HELD_S, POLL_S, Rhythm
from daq.wire import SampleBlock

SLOW = 9_600
"""A line so slow that its buffer is never the reason."""


def lines(clocks_us: list[int]) -> bytes:
    columns = [np.zeros(len(clocks_us), np.uint16) for _ in range(4)]
    clock = np.array([clock % 2**32 for clock in clocks_us], np.uint32)
    return SampleBlock(columns[0], clock, *columns[1:], flags=np.zeros(len(clocks_us), np.uint8)).encode()


def played(rhythm: Rhythm, rate_hz: float, seconds: float, begin_us: int, pace: float = 1.0) -> list[tuple[float, int]]:
    """A board that sends each sample when it is due, its clock `pace` times ours; the time of each handing on, s from
    the begin, and the clock of the newest sample in it."""
    step_us = round(1e6 / rate_hz)
    now_s, sent, handed_on = 0.0, 0, list[tuple[float, int]]()
    while now_s < seconds:
        until = int(now_s * pace * 1e6 / step_us) + 1
        clocks = [begin_us + number * step_us for number in range(sent, until)]
        wait_s = rhythm.looked(b"\n" + lines(clocks) if clocks else b"")
        if rhythm.due and clocks:
            handed_on.append((now_s, clocks[-1]))
        sent, now_s = until, now_s + wait_s
    return handed_on


@pytest.mark.parametrize("begin_us", [0, 12_345, 2**32 - 1_234_567, 2**32 - 50_001])
@pytest.mark.parametrize("rate_hz", [50.0, 200.0, 1000.0])
def test_each_handing_on_closes_two_ticks_and_comes_right_after(rate_hz: float, begin_us: int) -> None:
    handed_on = played(Rhythm(SLOW), rate_hz, 5.0, begin_us)
    newest = [clock for _, clock in handed_on[2:]]
    assert len(newest) >= 45
    pairs = [clock // HANDED_ON_US for clock in newest]
    assert all(later == pair + 1 for pair, later in itertools.pairwise(pairs))
    late_us = [clock % HANDED_ON_US for clock in newest]
    assert max(late_us) <= 2e6 / rate_hz + 1e6 * LATE_S  # how old the newest sample was at a look is not known
    assert HANDED_ON_US == 2 * TICK_US


def test_a_board_whose_clock_runs_wrong_is_followed() -> None:
    for pace in (0.98, 1.02):
        late_us = [clock % HANDED_ON_US for _, clock in played(Rhythm(SLOW), 1000.0, 20.0, 0, pace)[2:]]
        assert max(late_us) <= 6_000


def test_a_line_is_looked_at_before_its_buffer_is_half_full_and_handed_on_as_seldom() -> None:
    rhythm, clocks = Rhythm(500_000), range(1_000, 1_000_000, 1_000)
    looks, number = 0, 0
    due = 0
    while number < len(clocks) - 1:
        wait_s = rhythm.looked(b"\n" + lines(list(clocks[number : number + 1])))
        assert wait_s * 500_000 / 10 <= BUFFER_BYTES / 2
        looks, due = looks + 1, due + rhythm.due
        number += max(round(wait_s * 1000), 1)
    assert looks > 20
    assert due <= 11


def test_a_board_that_is_quicker_than_its_clock_is_read_out_quickly() -> None:
    """As one that is played back at thirty times its pace."""
    data = b"\n" + lines(list(range(0, 1_000_000, 5_000)))
    assert len(data) > BUFFER_BYTES // 2
    assert Rhythm(115_200).looked(data) <= POLL_S / 8


@pytest.mark.parametrize(
    "data", [b"", b"H,00000001,00,0000,0000*0000\n", b"\nS,0000,0000", b"\nS,0000,0000zz00,0000,0"]
)
def test_without_a_clock_all_is_handed_on_at_once(data: bytes) -> None:
    rhythm = Rhythm(SLOW)
    assert rhythm.looked(data) == POLL_S
    assert rhythm.due


def test_a_board_whose_clock_stands_is_heard_all_the_same() -> None:
    rhythm, held_s = Rhythm(500_000), 0.0
    for _ in range(50):
        wait_s = rhythm.looked(b"\n" + lines([70_000, 70_000]))
        held_s = wait_s if rhythm.due else held_s + wait_s
        assert held_s < 2 * MOST_HELD_S


def test_a_damaged_clock_disturbs_one_look_only() -> None:
    rhythm = Rhythm(SLOW)
    rhythm.looked(b"\n" + lines([90_000]))
    rhythm.looked(b"\n" + lines([2**31 + 90_000]))
    assert rhythm.looked(b"\n" + lines([210_000])) == pytest.approx(0.09 + LATE_S)
