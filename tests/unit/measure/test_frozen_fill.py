"""A cylinder channel that freezes in the middle of a fill; and fills that end, are shut off, or are very fast."""

from __future__ import annotations

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.measure.faults import FaultMonitor
from daq.measure.frozen_fill import FrozenFill
from daq.records import Instrument, Pressures

PSI = 6894.757293168361
OPENED_S = 1.0


def frozen(cylinder_psi: np.ndarray, supply_psi: float = 100.0, count_psi: float = 0.01, size: int = 999) -> list[int]:
    columns = np.stack([np.full(len(cylinder_psi), supply_psi), cylinder_psi]) * PSI
    past = np.concatenate((np.full((2, FrozenFill.BACK_ROWS), np.nan), columns), axis=1)
    monitor, states = FrozenFill(100 * PSI), []
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
def test_a_channel_that_stands_in_the_middle_of_a_fill_is_frozen(fill_psi, row: int, hum_psi: float) -> None:
    rows = frozen(freeze(fill_psi, row, hum_psi=hum_psi))
    assert rows and row + 7 <= rows[0] <= row + 8 and rows[-1] == len(fill_psi) - 1


@pytest.mark.parametrize("leak_pct", [0.5, 10.0, 60.0])
@pytest.mark.parametrize("volume_cc", [20.0, 75.0, 200.0])
@pytest.mark.parametrize(("noise_psi", "count_psi"), [(0.0, 0.01), (0.0, 0.183), (0.0, 1.0), (0.05, 0.01)])
def test_a_fill_that_comes_to_its_end_is_none(bench, leak_pct, volume_cc, noise_psi, count_psi) -> None:
    """However fast it is: 20 cc are less than any cylinder and its hose."""
    _, cylinder = bench.run(4.0, lambda t: bench.leak_m2(leak_pct), volume_cc=volume_cc)
    for late in (0, 13, 37):
        course = np.concatenate((np.zeros(1000 + late), cylinder))
        ticks = bench.ticks(np.full(len(course), 100.0), course, noise_psi, count_psi)
        assert frozen(ticks.cylinder_gauge_pa / PSI, count_psi=count_psi) == []


@pytest.mark.parametrize("seconds", [0.2, 0.3, 0.45])
def test_air_that_is_shut_off_in_the_middle_cools(bench, seconds: float) -> None:
    """On a tight cylinder: nothing flows any more."""
    _, cylinder = bench.run(4.0, lambda t: 1e-9, supply_psi=lambda t: 100.0, wall_w_k=1.0)
    end = round(1e3 * seconds)
    cools = cylinder[end] - 0.12 * cylinder[end] * (1 - np.exp(-np.arange(3000) / 600))
    ticks = bench.ticks(np.full(4000 + end, 100.0), np.concatenate((np.zeros(1000), cylinder[:end], cools)), 0.01)
    assert frozen(ticks.cylinder_gauge_pa / PSI) == []


def test_a_line_that_is_vented_in_the_middle_is_empty(fill_psi: np.ndarray) -> None:
    course = fill_psi.copy()
    course[25:] = 0.0
    assert frozen(course) == []


def test_a_fill_that_stands_at_its_supply_is_full(fill_psi: np.ndarray) -> None:
    course = freeze(fill_psi, 28)
    assert frozen(course, supply_psi=course[-1] + 2.0) == [] and frozen(course, supply_psi=course[-1] + 5.0) != []


def test_it_is_over_when_the_channel_moves(fill_psi: np.ndarray) -> None:
    assert frozen(freeze(fill_psi, 25, until=60))[-1] == 59


@pytest.mark.parametrize("partly", [0.0, 0.4, 0.7])
def test_what_jumps_is_no_fill(partly: float) -> None:
    course = np.where(np.arange(100) < 50, 60.0, 80.0)
    course[49] += 20 * partly
    assert frozen(course) == []


@pytest.mark.parametrize("size", [1, 5, 13])
def test_any_split_gives_the_same(fill_psi: np.ndarray, size: int) -> None:
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
