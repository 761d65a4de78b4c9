"""The time of day for a board that has none."""

from __future__ import annotations

import numpy as np
import pytest

from daq.driver import Driver, HostTime
from daq.measure.calibration import assumed_calibration
from daq.pipeline import Pipeline
from daq.procedure import EngineOrder
from daq.records import Board, Chunk, Instrument, LineFormat, LinkChange, LinkDown, LinkUp, Mark, Marked, Samples
from daq.wire import Boot, ResetCause, SampleBlock

INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, 689_476.0, 13_790.0)


def block(first: int, clock_us: int, n: int = 20) -> bytes:
    count = np.full(n, 1000, np.uint16)
    clocks = (clock_us + 5000 * np.arange(n)).astype(np.uint32)
    sequence = (first + np.arange(n)).astype(np.uint16)
    return SampleBlock(sequence, clocks, count, count, count, np.zeros(n, np.uint8)).encode()


@pytest.fixture
def driver() -> Driver:
    return Driver(Pipeline(INSTRUMENT, assumed_calibration(), EngineOrder("invented single", (1,))))


def test_the_quickest_arrival_sets_the_clock() -> None:
    time = HostTime()
    for t_s, arrived_s in ((1.0, 1001.30), (2.0, 1002.05), (3.0, 1003.40)):
        time.observe(1, t_s, arrived_s)
    assert time.offset_s(1, 0.0) == pytest.approx(1000.05)


def test_a_slow_crystal_is_followed() -> None:
    """Half a percent slow: after an hour the board is 18 s behind, and the time of day must not be."""
    time = HostTime()
    for second in range(3600):
        time.observe(1, second * 0.995, 1000.0 + second)
    assert time.offset_s(1, 0.0) + 3599 * 0.995 == pytest.approx(4599.0, abs=0.7)


def test_a_new_segment_forgets_the_old_clock() -> None:
    time = HostTime()
    time.observe(1, 5000.0, 6000.0)
    time.observe(2, 1.0, 7001.0)
    assert time.offset_s(2, 0.0) == 7000.0
    assert time.offset_s(1, 12.0) == 12.0


def test_before_the_first_sample_the_time_is_that_of_the_link(driver: Driver) -> None:
    delivery = driver.step(LinkUp(1_700_000_000.0, Board(LineFormat.FRAMED, 16, rate_hz=200.0)))
    (change,) = (r for r in delivery.records if isinstance(r, LinkChange))
    assert delivery.utc_s(change) == 1_700_000_000.0


def test_samples_and_marks_get_the_time_of_arrival(driver: Driver) -> None:
    driver.step(LinkUp(100.0, Board(LineFormat.FRAMED, 16, rate_hz=200.0)))
    delivery = driver.step(Chunk(200.5, block(0, 7_000_000)))
    (samples,) = (r for r in delivery.records if isinstance(r, Samples))
    assert delivery.utc_offset_s[samples.segment] + samples.t_us[-1] * 1e-6 == pytest.approx(200.5)
    marked = driver.step(Mark(200.6, "note", "hiss"))
    (mark,) = (r for r in marked.records if isinstance(r, Marked))
    assert marked.utc_s(mark) == pytest.approx(200.5)


def test_a_mark_without_a_board_has_its_own_time(driver: Driver) -> None:
    for at_s in (1000.0, 5000.0):
        delivery = driver.step(Mark(at_s, "note", "before the board"))
        assert [delivery.utc_s(r) for r in delivery.records if isinstance(r, Marked)] == [at_s]
    driver.step(LinkUp(6000.0, Board(LineFormat.FRAMED, 16, rate_hz=200.0)))
    driver.step(Chunk(6001.0, block(0, 7_000_000)))
    driver.step(LinkDown(6001.5, "cable"))
    delivery = driver.step(Mark(9600.0, "note", "an hour later"))
    assert [delivery.utc_s(r) for r in delivery.records if isinstance(r, Marked)] == [9600.0]


def test_every_record_has_a_time(driver: Driver) -> None:
    driver.step(LinkUp(100.0, Board(LineFormat.FRAMED, 16, rate_hz=200.0)))
    boot = Boot(ResetCause.POWER_ON, 1, False).encode()
    delivery = driver.step(Chunk(200.0, block(0, 9_000_000) + boot + block(0, 1_000) + boot + block(0, 2_000)))
    assert {record.segment for record in delivery.records} == {1, 2, 3}
    newest = {r.segment: float(r.t_us[-1]) * 1e-6 for r in delivery.records if isinstance(r, Samples)}
    for segment in (1, 2, 3):
        assert delivery.utc_offset_s[segment] + newest[segment] == pytest.approx(200.0)
