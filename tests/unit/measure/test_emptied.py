"""A line that empties: venting is no fault, a crank that rolled away or a hose that came off is one."""

from __future__ import annotations

import numpy as np
import pytest

from daq.measure.crank import CrankMonitor
from daq.records import Fault, Instrument, Pressures

PSI = 6894.757293168361
ROWS, OPENED, EMPTIED = 400, 60, 240
WITH_FLOW_PSI, FULL_FLOW_PSI = 99.7, 99.3
PISTON_PSI = (60.0, 20.0, -3.0, -1.0)


def line(
    without_flow_psi: float = 100.0,
    after_psi: float = 100.0,
    fall_psi: tuple[float, ...] = (50.0, 20.0, 5.0, 1.0),
    rest_psi: float = 0.0,
    noise_psi: float = 0.02,
) -> Pressures:
    """No flow, then a fill; at row `EMPTIED` the cylinder empties, and the supply goes to `after_psi`."""
    rng = np.random.default_rng(7)
    supply = np.full(ROWS, WITH_FLOW_PSI)
    supply[:OPENED], supply[EMPTIED:] = without_flow_psi, after_psi
    cylinder = np.interp(np.arange(ROWS), [OPENED, OPENED + 20], [0.0, 93.0])
    cylinder[EMPTIED:] = rest_psi
    cylinder[EMPTIED : EMPTIED + len(fall_psi)] = fall_psi
    supply, cylinder = (each + rng.normal(0, noise_psi, ROWS) for each in (supply, cylinder))
    t_s = 0.05 * np.arange(ROWS)
    return Pressures(1, t_s, supply * PSI, cylinder * PSI, cylinder * PSI, np.zeros(ROWS, np.int64))


def told(instrument: Instrument, pressures: Pressures, held_until: int = ROWS, size: int = ROWS) -> list[Fault]:
    row = np.arange(ROWS)
    stable, held = (row >= OPENED + 60) & (row < EMPTIED), row < held_until
    monitor, faults = CrankMonitor(instrument), []
    for start in range(0, ROWS, size):
        part = slice(start, start + size)
        columns = (getattr(pressures, name)[part] for name in list(Pressures.__slots__)[1:])
        faults += monitor.feed(Pressures(1, *columns), held[part], stable[part], ())
    return faults


def test_air_that_runs_through_an_open_valve_is_told(instrument: Instrument) -> None:
    (fault,) = told(instrument, line(after_psi=FULL_FLOW_PSI))
    assert fault.fault == "crank-moved" and 12.9 < fault.t_s < 13.3
    assert "93.0 psi" in fault.seen and "99.3 psi" in fault.seen and "Shut the air off" in fault.todo


@pytest.mark.parametrize("noise_psi", [0.0, 0.02, 0.1])
def test_venting_undoes_what_opening_did(instrument: Instrument, noise_psi: float) -> None:
    """Also on the hump of a regulator, where the supply is lower without flow."""
    assert told(instrument, line(100.0, 100.0, noise_psi=noise_psi)) == []
    assert told(instrument, line(99.4, 99.4, noise_psi=noise_psi)) == []


def test_a_hump_does_not_hide_a_flow(instrument: Instrument) -> None:
    assert len(told(instrument, line(99.5, 99.2))) == 1


def test_a_piston_leaves_less_than_the_atmosphere(instrument: Instrument) -> None:
    """Whatever the supply does."""
    (fault,) = told(instrument, line(after_psi=WITH_FLOW_PSI, fall_psi=PISTON_PSI))
    assert "less than the atmosphere" in fault.seen


def test_a_noisy_zero_that_is_off_is_not_less_than_the_atmosphere(instrument: Instrument) -> None:
    pressures = line(fall_psi=(50.0, 20.0, 5.0, -1.95), rest_psi=-1.5, noise_psi=0.0)
    pressures.cylinder_gauge_pa[EMPTIED + 4 :: 2] += 0.2 * PSI
    pressures.cylinder_gauge_pa[EMPTIED + 5 :: 2] -= 0.2 * PSI
    assert told(instrument, pressures) == []


def test_less_than_nothing_at_all_is_a_broken_wire(instrument: Instrument) -> None:
    assert told(instrument, line(after_psi=FULL_FLOW_PSI, rest_psi=-18.75, fall_psi=())) == []


def test_a_supply_that_goes_away_is_told_elsewhere(instrument: Instrument) -> None:
    assert told(instrument, line(after_psi=FULL_FLOW_PSI), held_until=EMPTIED + 10) == []


def test_it_is_over_when_the_supply_is_off_or_the_cylinder_holds(instrument: Instrument) -> None:
    assert told(instrument, line(after_psi=FULL_FLOW_PSI), held_until=320)[1].seen == "The supply is off."
    back = line(after_psi=FULL_FLOW_PSI)
    back.cylinder_gauge_pa[330:] = 60 * PSI
    _, over = told(instrument, back)
    assert over.over and over.t_s > 16.5 and "60.0 psi" in over.seen


@pytest.mark.parametrize("size", [1, 7, 64])
@pytest.mark.parametrize("fall_psi", [(50.0, 5.0), PISTON_PSI])
def test_any_split_gives_the_same(instrument: Instrument, size: int, fall_psi: tuple[float, ...]) -> None:
    pressures = line(after_psi=FULL_FLOW_PSI, fall_psi=fall_psi)
    whole = told(instrument, pressures, 350)
    assert len(whole) == 2 and told(instrument, pressures, 350, size) == whole
