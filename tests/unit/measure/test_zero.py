"""The zero: adjusted when small, refused when large, never guessed while anything moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.measure.zero import VENTED_AND_STILL, WINDOW_ROWS, ZeroMonitor
from daq.records import Pairing, Pressures, ZeroCheck

PSI = 6894.757293168361
CALIBRATION = assumed_calibration()  # 150 psi, class 0.75 psi

PAIRING = Pairing("p", 0.0, 500.0, 1e-3, 50.0, 1e-4, -0.8, 50.0, 9.0, 20 * PSI, 100 * PSI)


def line(supply_psi: np.ndarray, cylinder_psi: np.ndarray, segment: int = 1, noise_psi: float = 0.02) -> Pressures:
    rng = np.random.default_rng(7)
    n = len(supply_psi)
    supply, cylinder = (p * PSI + rng.normal(0, noise_psi * PSI, n) for p in (supply_psi, cylinder_psi))
    return Pressures(segment, 0.05 * np.arange(n), supply, cylinder, cylinder - 100.0, np.zeros(n, np.int64))


def vented(supply_psi: float, cylinder_psi: float, rows: int = 200) -> Pressures:
    return line(np.full(rows, supply_psi), np.full(rows, cylinder_psi))


def test_a_small_shift_is_taken_off_from_then_on() -> None:
    corrected, (check,) = ZeroMonitor(CALIBRATION).feed(vented(0.4, -0.6))
    assert check.adjusted and check.t_s == pytest.approx(0.05 * (WINDOW_ROWS - 1))
    assert check.supply_shift_pa == pytest.approx(0.4 * PSI, abs=0.01 * PSI)
    assert check.cylinder_shift_pa == pytest.approx(-0.6 * PSI, abs=0.01 * PSI)
    before, after = slice(0, WINDOW_ROWS - 1), slice(WINDOW_ROWS - 1, None)
    assert corrected.supply_gauge_pa[before].mean() == pytest.approx(0.4 * PSI, abs=0.02 * PSI)
    for name in ("supply_gauge_pa", "cylinder_gauge_pa"):
        assert getattr(corrected, name)[after].mean() == pytest.approx(0.0, abs=0.02 * PSI)
    assert corrected.cylinder_low_gauge_pa[after].mean() == pytest.approx(-100.0, abs=0.02 * PSI)


def test_paired_channels_move_together_by_the_zero_of_the_supply() -> None:
    """What was paired stays paired: 0.2 psi between the two is left as it was."""
    corrected, (check,) = ZeroMonitor(replace(CALIBRATION, pairing=PAIRING)).feed(vented(0.4, 0.6))
    assert check.adjusted and check.cylinder_shift_pa == pytest.approx(0.6 * PSI, abs=0.01 * PSI)
    after = slice(WINDOW_ROWS - 1, None)
    assert corrected.supply_gauge_pa[after].mean() == pytest.approx(0.0, abs=0.02 * PSI)
    assert corrected.cylinder_gauge_pa[after].mean() == pytest.approx(0.2 * PSI, abs=0.02 * PSI)


def test_it_is_known_from_when_on_the_zero_was_taken_off() -> None:
    monitor = ZeroMonitor(CALIBRATION)
    assert not monitor.taken_off(1, 100.0)
    _, (check,) = monitor.feed(vented(0.4, -0.6))
    assert [monitor.taken_off(1, check.t_s + later_s) for later_s in (-0.01, 0.0)] == [False, True]
    assert monitor.taken_off(2, 0.0) and not monitor.taken_off(0, 1e6)
    only_told = ZeroMonitor(CALIBRATION, adjust=False)
    only_told.feed(vented(0.4, -0.6))
    assert not only_told.taken_off(2, 0.0)


@pytest.mark.parametrize(("supply_psi", "cylinder_psi", "name"), [(2.0, 0.1, "supply"), (0.1, -2.5, "cylinder")])
def test_a_large_shift_is_refused_with_its_channel(supply_psi: float, cylinder_psi: float, name: str) -> None:
    pressures = vented(supply_psi, cylinder_psi)
    corrected, (check,) = ZeroMonitor(CALIBRATION).feed(pressures)
    assert not check.adjusted and name in check.reason
    np.testing.assert_array_equal(corrected.supply_gauge_pa, pressures.supply_gauge_pa)


def test_it_is_told_once_for_each_time_the_line_is_vented() -> None:
    supply = np.concatenate((np.zeros(200), np.full(100, 100.0), np.zeros(200)))
    _, checks = ZeroMonitor(CALIBRATION).feed(line(supply, 0.9 * supply))
    assert len(checks) == 2


def test_a_line_that_bleeds_down_is_not_taken_for_vented_until_it_stands_still() -> None:
    bleeding = 3.0 * np.exp(-np.arange(400) / 60.0)
    _, checks = ZeroMonitor(CALIBRATION).feed(line(bleeding, bleeding))
    assert checks and checks[0].t_s > 9.0
    assert abs(checks[0].supply_shift_pa) < 0.2 * PSI


@pytest.mark.parametrize(("supply_psi", "cylinder_psi"), [(100.0, 0.0), (0.0, 60.0), (6.0, 6.0)])
def test_under_pressure_there_is_no_zero(supply_psi: float, cylinder_psi: float) -> None:
    _, checks = ZeroMonitor(CALIBRATION).feed(vented(supply_psi, cylinder_psi))
    assert not checks


def test_a_short_vent_is_too_short() -> None:
    supply = np.concatenate((np.full(50, 100.0), np.zeros(WINDOW_ROWS - 1), np.full(50, 100.0)))
    _, checks = ZeroMonitor(CALIBRATION).feed(line(supply, supply))
    assert not checks


def test_the_shift_outlives_a_restart_of_the_board() -> None:
    monitor = ZeroMonitor(CALIBRATION)
    monitor.feed(vented(0.4, -0.6))
    again = replace(vented(100.4, 89.4, 20), segment=2)
    corrected, _ = monitor.feed(again)
    assert corrected.supply_gauge_pa.mean() == pytest.approx(100.0 * PSI, abs=0.02 * PSI)
    assert corrected.cylinder_gauge_pa.mean() == pytest.approx(90.0 * PSI, abs=0.02 * PSI)


@pytest.mark.parametrize("size", [1, 7, 59, 61])
def test_any_split_gives_the_same(size: int) -> None:
    supply = np.concatenate((np.full(150, 0.3), np.full(40, 100.0), np.full(150, -0.2)))
    whole = line(supply, 0.9 * supply)
    expected, checks = ZeroMonitor(CALIBRATION).feed(whole)
    monitor = ZeroMonitor(CALIBRATION)
    found: list[ZeroCheck] = []
    parts = []
    for start in range(0, len(supply), size):
        part = Pressures(1, *(getattr(whole, name)[start : start + size] for name in list(Pressures.__slots__)[1:]))
        corrected, more = monitor.feed(part)
        parts.append(corrected.cylinder_gauge_pa)
        found += more
    assert found == checks
    np.testing.assert_array_equal(np.concatenate(parts), expected.cylinder_gauge_pa)


def checks_of(zeros_psi: list[float], adjust: bool = True) -> list[ZeroCheck]:
    """The supply channel shows these zeros, one after the other, with pressure between; the cylinder's stands still."""
    monitor, checks = ZeroMonitor(CALIBRATION, adjust), []
    for segment, zero_psi in enumerate(zeros_psi):
        checks += monitor.feed(replace(vented(zero_psi, 0.1, rows=WINDOW_ROWS), segment=segment))[1]
    return checks


def test_a_zero_that_goes_on_moving_is_told_though_each_shift_is_small() -> None:
    rising = checks_of([0.02 * n for n in range(14)])
    assert all(check.adjusted for check in rising)
    (told,) = [check for check in rising if check.reason != VENTED_AND_STILL]
    assert told.reason.startswith(VENTED_AND_STILL) and "(supply up)" in told.reason and "warm up" in told.reason
    assert told.supply_shift_pa < 0.25 * PSI
    falling = checks_of([-0.02 * n for n in range(14)], adjust=False)
    assert any("(supply down)" in check.reason for check in falling) and not any(c.adjusted for c in falling)


def test_a_zero_that_is_off_and_stays_or_goes_to_and_fro_is_nothing_to_tell() -> None:
    for zeros in ([0.6] * 30, [0.05 * (-1) ** n for n in range(30)]):
        assert {check.reason for check in checks_of(zeros)} == {VENTED_AND_STILL}
