"""Faults of sensors and line: each is seen, said once, and over when it is; an ordinary test shows none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.measure.crank import CrankMonitor
from daq.measure.faults import FaultMonitor
from daq.records import Fault, Instrument, Pressures, Tap

PSI = 6894.757293168361
CALIBRATION = assumed_calibration()
ROWS = 400


@pytest.fixture
def monitor(instrument: Instrument) -> FaultMonitor:
    return FaultMonitor(instrument, CALIBRATION)


def line(supply_psi: np.ndarray | float, cylinder_psi: np.ndarray | float, noise_psi: float = 0.02) -> Pressures:
    rng = np.random.default_rng(3)
    supply, cylinder = (np.broadcast_to(p, ROWS) * PSI for p in (supply_psi, cylinder_psi))
    noise = rng.normal(0, noise_psi * PSI, (2, ROWS))
    t_s = 0.05 * np.arange(ROWS)
    return Pressures(1, t_s, supply + noise[0], cylinder + noise[1], cylinder + noise[1], np.zeros(ROWS, np.int64))


def step(before: float, after: float, at: int = 100, until: int = ROWS) -> np.ndarray:
    course = np.full(ROWS, before)
    course[at:until] = after
    return course


def told(faults: list[Fault]) -> list[tuple[str, bool]]:
    return [(fault.fault, fault.over) for fault in faults]


@pytest.mark.parametrize(
    ("supply_psi", "cylinder_psi", "fault"),
    [
        (step(100, 152, until=200), step(90, 137, until=200), "overpressure"),
        (step(100, -18.75, until=200), 0.0, "supply-sensor-open"),
        (100.0, step(90, -18.75, until=200), "cylinder-sensor-open"),
    ],
)
def test_a_fault_comes_once_and_is_over_once(monitor, supply_psi, cylinder_psi, fault: str) -> None:
    found = monitor.feed(line(supply_psi, cylinder_psi))
    assert told(found) == [(fault, False), (fault, True)]
    assert 5.0 <= found[0].t_s <= 5.5 and found[1].t_s > 10.0
    assert found[0].seen and found[0].todo


@pytest.mark.parametrize(
    ("supply_psi", "cylinder_psi", "spoilt"),
    [
        (100.0, step(90, 168.75, until=200), slice(100, 220)),
        (100.0, step(90, -18.75, until=200), slice(100, 220)),
        (step(100, 80, until=200), 98.0, slice(100, ROWS)),  # swapped, until the supply is clearly above
        (step(100, 152, until=200), step(90, 137, until=200), slice(0, 0)),  # too high, but true
    ],
)
def test_what_a_broken_sensor_says_is_not_believed(monitor, supply_psi, cylinder_psi, spoilt: slice) -> None:
    """From the first row, before it is told; and until it is told to be over, as most are a second after the last."""
    monitor.feed(line(supply_psi, cylinder_psi))
    assert np.flatnonzero(monitor.spoilt).tolist() == list(range(ROWS))[spoilt]


def test_no_cylinder_stands_above_its_supply(monitor) -> None:
    rises = np.interp(np.arange(ROWS), [10.5, 28.5], [70.0, 88.0])
    rises[50:] = 70.0
    monitor.feed(line(step(100, 80, at=0, until=50), rises))
    assert np.flatnonzero(monitor.spoilt).tolist() == list(range(26, 50))


@pytest.mark.parametrize("to_psi", [112.0, 135.0])
@pytest.mark.parametrize("noise_psi", [0.0, 0.02])
def test_a_cylinder_wire_that_jumps_makes_no_stuck_supply(monitor, to_psi: float, noise_psi: float) -> None:
    """All that it says is not believed until it has been well for a second; and then all is well again."""
    pressures = line(100.0, step(93, to_psi, until=200), noise_psi)
    pressures.cylinder_gauge_pa[99] += 5 * PSI
    assert told(monitor.feed(pressures)) == [("cylinder-sensor-jumped", False), ("cylinder-sensor-jumped", True)]
    assert np.flatnonzero(monitor.spoilt).tolist() == list(range(100, 220))


def test_noise_is_no_jump(monitor) -> None:
    """Swapped, and the other channel shows none."""
    pressures = line(85.0, 100.0)
    pressures.supply_gauge_pa[:] = 85.0 * PSI
    assert told(monitor.feed(pressures)) == [("channels-swapped", False)]


def test_a_line_that_is_switched_on_with_channels_swapped_has_no_jump(monitor) -> None:
    fills = np.interp(np.arange(ROWS), [60, 110], [0.0, 85.0])
    assert told(monitor.feed(line(fills, step(0, 100, at=50)))) == [("channels-swapped", False)]


def test_a_cylinder_that_fills_above_a_stuck_supply_has_no_jump(monitor) -> None:
    pressures = line(50.0, np.interp(np.arange(ROWS), [100, 104, 110, 120], [20.0, 55.0, 70.0, 80.0]), 0.0)
    assert told(monitor.feed(pressures)) == [("supply-sensor-stuck", False)]


@pytest.mark.parametrize(("supply_psi", "cylinder_psi"), [(100.0, step(90, 168.75)), (step(100, 168.75), 90.0)])
@pytest.mark.parametrize("partly", [0.0, 0.78])
def test_a_wire_at_five_volts_is_told_as_that(monitor, supply_psi, cylinder_psi, partly: float) -> None:
    """Also where the tick in which it happened has a mean just above the limit."""
    pressures = line(supply_psi, cylinder_psi)
    for channel in (pressures.supply_gauge_pa, pressures.cylinder_gauge_pa):
        channel[99] += partly * (channel[100] - channel[99])
    assert told(monitor.feed(pressures)) == [("sensor-saturated", False)]


@pytest.mark.parametrize("to_psi", [-18.75, 168.75])
def test_a_broken_supply_wire_is_neither_a_swap_nor_a_stuck_cylinder(monitor, to_psi: float) -> None:
    names = {name for name, _ in told(monitor.feed(line(step(100, to_psi, until=300), 98.0)))}
    assert names == {"supply-sensor-open" if to_psi < 0 else "sensor-saturated"}


def test_the_weakest_part_sets_the_limit(instrument: Instrument) -> None:
    weak = FaultMonitor(replace(instrument, hose_limit_pa=110 * PSI), CALIBRATION)
    assert told(weak.feed(line(step(100, 115), step(90, 104)))) == [("overpressure", False)]


@pytest.mark.parametrize("hum_psi", [0.0, 0.05])
def test_a_cylinder_channel_that_does_not_follow_is_stuck_until_it_moves(monitor, hum_psi: float) -> None:
    pressures = line(step(100, 60), 90.0)
    pressures.cylinder_gauge_pa[:] = (step(90, 55, at=300) + hum_psi * np.sin(np.arange(ROWS))) * PSI
    came, over = monitor.feed(pressures)
    assert (came.fault, came.over, over.over) == ("cylinder-sensor-stuck", False, True)
    assert 5.0 < came.t_s < 6.0 and 15.0 < over.t_s < 16.0


def test_a_supply_channel_that_stands_below_the_cylinder_is_stuck(monitor) -> None:
    pressures = line(50.0, 75 + 20 * np.sin(0.1 * np.arange(ROWS)))
    pressures.supply_gauge_pa[:] = 50 * PSI
    assert told(monitor.feed(pressures)) == [("supply-sensor-stuck", False)]


def vented_with_supply(noise_psi: float, count_psi: float, frozen_from: int) -> Pressures:
    """A cylinder that is vented at row 340; its supply shows noise until row `frozen_from`, and hardly moves."""
    pressures = line(100.0, step(95, 0, at=340))
    noisy = 100 + noise_psi * np.random.default_rng(5).standard_normal(ROWS) + 0.03 * (np.arange(ROWS) >= 340)
    noisy[frozen_from:] = 100.01
    pressures.supply_gauge_pa[:] = (np.round(noisy / count_psi) * count_psi if count_psi else noisy) * PSI
    return pressures


@pytest.mark.parametrize("hum_psi", [0.0, 0.005])
def test_a_supply_channel_that_lost_its_noise_is_stuck_when_the_cylinder_moves(monitor, hum_psi: float) -> None:
    pressures = vented_with_supply(0.03, 0.0, frozen_from=280)
    pressures.supply_gauge_pa[280:] += hum_psi * PSI * np.cos(np.pi * np.arange(ROWS - 280))
    (fault,) = monitor.feed(pressures, 0.01 * PSI)
    assert fault.fault == "supply-sensor-stuck" and 17.0 < fault.t_s < 19.0


@pytest.mark.parametrize(
    ("noise_psi", "count_psi", "frozen_from"),
    [(0.03, 0.0, ROWS), (0.03, 0.2, ROWS), (0.03, 0.0, 100), (0.003, 0.0, 280)],
)
def test_a_quiet_supply_is_not_stuck(monitor, noise_psi: float, count_psi: float, frozen_from: int) -> None:
    """It is alive; or coarse; or has been at rest as long as anybody remembers; or its noise is less than a count."""
    assert monitor.feed(vented_with_supply(noise_psi, count_psi, frozen_from), max(count_psi, 0.02) * PSI) == []


def test_a_supply_that_comes_to_rest_after_turning_is_not_stuck(monitor) -> None:
    """Motion is no noise, though it covers a longer way."""
    pressures = vented_with_supply(0.002, 0.0, frozen_from=ROWS)
    pressures.supply_gauge_pa[:290] += np.interp(np.arange(290) % 40, [0, 2, 4], [0.0, 0.5, 0.0]) * PSI
    assert monitor.feed(pressures, 0.001 * PSI) == []


def test_swapped_channels_are_told(monitor) -> None:
    assert told(monitor.feed(line(85.0, 100.0))) == [("channels-swapped", False)]


def test_swapped_channels_of_a_tight_cylinder_are_nothing_else_when_it_fills_and_is_vented(monitor) -> None:
    ramp = np.interp(np.arange(ROWS), [100, 110, 115], [0.0, 90.0, 98.0])
    assert told(monitor.feed(line(np.where(np.arange(ROWS) < 300, ramp, 0.0), 100.0))) == [("channels-swapped", False)]


def test_a_supply_that_rises_below_a_cylinder_at_rest_makes_no_stuck_cylinder(monitor) -> None:
    assert monitor.feed(line(np.interp(np.arange(ROWS), [40, 55, 60], [0.0, 90.0, 98.0]), 100.0)) == []


def test_a_swap_is_over_when_the_supply_stands_above_the_cylinder(monitor) -> None:
    found = monitor.feed(line(step(85, 100, at=200), step(100, 85, at=200)))
    assert told(found) == [("channels-swapped", False), ("channels-swapped", True)]


@pytest.mark.parametrize(
    ("supply_psi", "cylinder_psi"),
    [
        (100.0, 90.0),
        (100.0, 0.0),
        (step(0, 100), 0.0),
        (step(100, 0, at=200, until=260), step(90, 60, at=202, until=262)),
        (100.0, step(90, 2, at=200, until=210)),
    ],
)
@pytest.mark.parametrize("noise_psi", [0.0, 0.1])
def test_an_ordinary_day_shows_no_fault(monitor, supply_psi, cylinder_psi, noise_psi: float) -> None:
    assert monitor.feed(line(supply_psi, cylinder_psi, noise_psi)) == []


# ---- the crank


def crank(
    instrument: Instrument, cylinder_psi: np.ndarray, stable_until: int, taps: tuple[Tap, ...] = ()
) -> list[Fault]:
    pressures = line(100.0, cylinder_psi)
    stable = np.arange(ROWS) < stable_until
    return CrankMonitor(instrument).feed(pressures, np.ones(ROWS, bool), stable, taps)


def test_a_pressure_that_falls_and_stays_is_told(instrument: Instrument) -> None:
    (fault,) = crank(instrument, step(90, 40), 100)
    assert fault.fault == "crank-moved" and 8.5 < fault.t_s < 9.0
    assert "90.1 psi" in fault.seen and "40.0 psi" in fault.seen and "Vent" in fault.todo


def test_it_is_over_when_the_pressure_is_back(instrument: Instrument) -> None:
    assert told(crank(instrument, step(90, 40, until=220), 100)) == [("crank-moved", False), ("crank-moved", True)]


def test_it_is_told_also_where_the_new_level_is_stable(instrument: Instrument) -> None:
    """A hose that begins to leak: the loss jumps, stays, and would pass for a reading."""
    pressures = line(100.0, step(90, 70))
    stable = np.ones(ROWS, bool)
    stable[95:130] = False
    (fault,) = CrankMonitor(instrument).feed(pressures, np.ones(ROWS, bool), stable, ())
    assert fault.fault == "crank-moved"


def test_after_a_lost_supply_there_is_a_new_level(instrument: Instrument) -> None:
    held = np.ones(ROWS, bool)
    held[95:130] = False
    assert CrankMonitor(instrument).feed(line(100.0, step(90, 70)), held, held, ()) == []


def test_what_comes_back_in_time_is_no_crank(instrument: Instrument) -> None:
    assert crank(instrument, step(90, 20, until=168), 100) == []


def test_a_vented_line_is_no_crank(instrument: Instrument) -> None:
    assert crank(instrument, step(90, 0.5), 100) == []


def test_a_tap_that_left_the_valve_worse_is_no_crank(instrument: Instrument) -> None:
    assert crank(instrument, step(90, 70), 100, (Tap(1, 6.0, 5.0, 3e5, 1.0),)) == []


def test_without_a_stable_reading_there_is_nothing_to_fall_from(instrument: Instrument) -> None:
    assert crank(instrument, step(90, 40), 0) == []


@pytest.mark.parametrize("size", [1, 13, 101])
def test_any_split_gives_the_same(instrument: Instrument, size: int) -> None:
    whole = line(step(100, 152, 300), step(90, 40, until=220))
    stable = np.arange(ROWS) < 100
    crank_monitor, fault_monitor = CrankMonitor(instrument), FaultMonitor(instrument, CALIBRATION)
    cranks, faults = [], []
    for start in range(0, ROWS, size):
        end = start + size
        part = Pressures(1, *(getattr(whole, name)[start:end] for name in list(Pressures.__slots__)[1:]))
        cranks += crank_monitor.feed(part, np.ones(len(part.t_s), bool), stable[start:end], ())
        faults += fault_monitor.feed(part)
    assert cranks == CrankMonitor(instrument).feed(whole, np.ones(ROWS, bool), stable, ())
    assert faults == FaultMonitor(instrument, CALIBRATION).feed(whole)
    assert cranks and faults
