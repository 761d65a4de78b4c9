"""A cylinder channel that freezes in the middle of a fill; and fills that end, are shut off, or are very fast."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.measure.faults import FaultMonitor
from daq.measure.frozen_fill import FrozenFill
from daq.records import Instrument, Pressures

PSI = 6894.757293168361
Told = Callable[..., list[int]]


@pytest.fixture
def frozen(instrument: Instrument) -> Told:
    return partial(told, instrument)


def told(
    instrument: Instrument,
    cylinder_psi: np.ndarray,
    supply_psi: float = 100.0,
    count_psi: float = 0.01,
    size: int = 999,
) -> list[int]:
    columns = np.stack([np.full(len(cylinder_psi), supply_psi), cylinder_psi]) * PSI
    past = np.concatenate((np.full((2, FrozenFill.BACK_ROWS), np.nan), columns), axis=1)
    monitor, states = FrozenFill(instrument), []
    for start in range(0, len(cylinder_psi), size):
        rows = min(size, len(cylinder_psi) - start)
        seen = past[:, start : start + FrozenFill.BACK_ROWS + rows]
        states += monitor.feed(seen, rows, count_psi * PSI).tolist()
    return np.flatnonzero(states).tolist()


@pytest.fixture(scope="module")
def fill_psi(bench) -> np.ndarray:
    """Ticks of an empty second, and a fill of 75 cc up to 90 psi."""
    _, cylinder = bench.run(4.0, lambda t: bench.leak_m2(10))
    return bench.ticks(np.full(5000, 100.0), np.concatenate((np.zeros(1000), cylinder)), 0.01).cylinder_gauge_pa / PSI


def freeze(course: np.ndarray, row: int, until: int | None = None, hum_psi: float = 0.0) -> np.ndarray:
    held = course.copy()
    rest = held[row:until]
    rest[:] = 0.5 * (course[row - 1] + course[row]) + hum_psi * np.cos(2.0 * np.arange(len(rest)))
    return held


@pytest.mark.parametrize("row", [23, 25, 28])
@pytest.mark.parametrize("hum_psi", [0.0, 0.01])
def test_a_channel_that_stands_in_the_middle_of_a_fill_is_frozen(
    frozen: Told, fill_psi, row: int, hum_psi: float
) -> None:
    rows = frozen(freeze(fill_psi, row, hum_psi=hum_psi))
    assert rows and row + 7 <= rows[0] <= row + 8 and rows[-1] == len(fill_psi) - 1


@pytest.mark.parametrize("leak_pct", [0.5, 10.0, 60.0])
@pytest.mark.parametrize("volume_cc", [20.0, 75.0, 200.0])
@pytest.mark.parametrize(("noise_psi", "count_psi"), [(0.0, 0.01), (0.0, 0.183), (0.0, 1.0), (0.05, 0.01)])
def test_a_fill_that_comes_to_its_end_is_none(frozen, bench, leak_pct, volume_cc, noise_psi, count_psi) -> None:
    """However fast it is: 20 cc are less than any cylinder and its hose."""
    _, cylinder = bench.run(4.0, lambda t: bench.leak_m2(leak_pct), volume_cc=volume_cc)
    for late in (0, 13, 37):
        course = np.concatenate((np.zeros(1000 + late), cylinder))
        ticks = bench.ticks(np.full(len(course), 100.0), course, noise_psi, count_psi)
        assert frozen(ticks.cylinder_gauge_pa / PSI, count_psi=count_psi) == []


@pytest.mark.parametrize("leak_pct", [3.0, 5.0, 10.0, 40.0, 60.0])
@pytest.mark.parametrize("volume_cc", [8.0, 14.0, 20.0])
@pytest.mark.parametrize("wall_w_k", [0.2, 5.0])
def test_a_fill_that_rises_straight_and_then_stands_is_none(frozen, bench, leak_pct, volume_cc, wall_w_k) -> None:
    """As fast as 30 cc behind a large restrictor; in any place of the ticks. The walls take what heat they can."""
    _, cylinder = bench.run(1.5, lambda t: bench.leak_m2(leak_pct), volume_cc=volume_cc, wall_w_k=wall_w_k)
    for late in range(0, 50, 3):
        course = np.concatenate((np.zeros(1000 + late), cylinder))
        ticks = bench.ticks(np.full(len(course), 100.0), course, 0.01)
        for off_psi in (-2.0, 0.0, 2.0):
            assert frozen(ticks.cylinder_gauge_pa / PSI + off_psi) == []


def rising(*rises_psi: float, to_psi: float) -> np.ndarray:
    """Rises from tick to tick up to a pressure that stands."""
    before = to_psi - np.cumsum((*rises_psi, 0.0)[::-1])[::-1]
    return np.concatenate((np.full(30, before[0]), before, np.full(30, to_psi)))


@pytest.mark.parametrize("row", [3, 4, 5])
def test_ticks_that_were_lost_make_no_fill_stand(frozen: Told, fill_psi: np.ndarray, row: int) -> None:
    """What comes after them has gone a longer way."""
    assert frozen(np.delete(fill_psi, np.arange(20 + row, 50))) == []


def test_a_small_cylinder_that_follows_the_hand_on_the_valve_is_none(frozen: Told) -> None:
    assert frozen(rising(3.0, 2.4, 1.9, 1.6, to_psi=86.0)) == []


def test_what_has_hardly_anything_left_is_none(frozen: Told) -> None:
    assert frozen(rising(0.9, 0.9, 0.9, 0.9, 0.5, to_psi=50.0)) == []
    assert frozen(rising(4.5, 4.5, 4.5, 4.5, 2.5, to_psi=50.0)) != []


@pytest.mark.parametrize(("hum_psi", "count_psi"), [(0.3, 0.01), (0.0, 1.5)])
def test_what_moves_does_not_stand(frozen: Told, fill_psi: np.ndarray, hum_psi: float, count_psi: float) -> None:
    assert frozen(freeze(fill_psi, 24, hum_psi=hum_psi), count_psi=count_psi) == []


@pytest.mark.parametrize("seconds", [0.2, 0.3, 0.45])
def test_air_that_is_shut_off_in_the_middle_cools(frozen: Told, bench, seconds: float) -> None:
    """On a tight cylinder: nothing flows any more."""
    _, cylinder = bench.run(4.0, lambda t: 1e-9, supply_psi=lambda t: 100.0, wall_w_k=1.0)
    end = round(1e3 * seconds)
    cools = cylinder[end] - 0.12 * cylinder[end] * (1 - np.exp(-np.arange(3000) / 600))
    ticks = bench.ticks(np.full(4000 + end, 100.0), np.concatenate((np.zeros(1000), cylinder[:end], cools)), 0.01)
    assert frozen(ticks.cylinder_gauge_pa / PSI) == []


def test_a_line_that_is_vented_in_the_middle_is_empty(frozen: Told, fill_psi: np.ndarray) -> None:
    course = fill_psi.copy()
    course[25:] = 0.0
    assert frozen(course) == []


def test_a_fill_that_stands_at_its_supply_is_full(frozen: Told, fill_psi: np.ndarray) -> None:
    """It came down to it, and the sensors differ."""
    course = freeze(fill_psi, 28)
    assert frozen(course, supply_psi=course[-1] + 2.0) == [] and frozen(course, supply_psi=course[-1] + 5.0) != []


def test_it_is_over_when_the_channel_moves(frozen: Told, fill_psi: np.ndarray) -> None:
    assert frozen(freeze(fill_psi, 25, until=60))[-1] == 59


@pytest.mark.parametrize("partly", [0.0, 0.4, 0.7])
def test_what_jumps_is_no_fill(frozen: Told, partly: float) -> None:
    course = np.where(np.arange(100) < 50, 60.0, 80.0)
    course[48:50] += 0.01, 20 * partly
    assert frozen(course) == []


@pytest.mark.parametrize("size", [1, 5, 13])
def test_any_split_gives_the_same(frozen: Told, fill_psi: np.ndarray, size: int) -> None:
    course = freeze(fill_psi, 25, until=60)
    assert frozen(course, size=size) == frozen(course) != []


def test_nothing_is_believed_before_it_is_told(instrument: Instrument, fill_psi: np.ndarray) -> None:
    cylinder = freeze(fill_psi, 25, until=60) * PSI
    rows = len(cylinder)
    pressures = Pressures(
        1, 0.05 * np.arange(rows), np.full(rows, 100 * PSI), cylinder, cylinder, np.zeros(rows, np.int64)
    )
    monitor = FaultMonitor(instrument, assumed_calibration())
    came, over = monitor.feed(pressures, 0.01 * PSI)
    assert (came.fault, came.over, over.over) == ("cylinder-sensor-stuck", False, True)
    assert monitor.spoilt[33:60].all() and came.t_s > 1.7 and not monitor.spoilt[70]
