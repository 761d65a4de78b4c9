"""Air that flows and builds up no pressure."""

from __future__ import annotations

import numpy as np
import pytest

from daq.measure.no_pressure import STAYS_S, NoPressureMonitor
from daq.records import Bools, Fault, Floats, Instrument, Pressures

SET_PA, TICK_S = 690e3, 0.05
INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, SET_PA, 14e3)


def faults(cylinder: Floats, held: Bools | None = None, split: int = 1000) -> list[Fault]:
    rows = len(cylinder)
    t_s, supply = TICK_S * np.arange(rows), np.full(rows, SET_PA)
    held = np.full(rows, True) if held is None else held
    monitor, found = NoPressureMonitor(INSTRUMENT), []
    for start in range(0, rows, split):
        cut = slice(start, start + split)
        part = cylinder[cut] * SET_PA
        pressures = Pressures(1, t_s[cut], supply[cut], part, part, np.zeros(len(part), np.int64))
        found += monitor.feed(pressures, held[cut])
    return found


def seconds(length_s: float, value: float) -> Floats:
    return np.full(round(length_s / TICK_S), value)


@pytest.mark.parametrize("split", [1, 7, 1000])
def test_it_is_told_once_and_its_end_too(split: int) -> None:
    found = faults(np.concatenate([seconds(20.0, 0.002), seconds(5.0, 0.9)]), split=split)
    assert [(fault.fault, fault.over, round(fault.t_s, 2)) for fault in found] == [
        ("no-pressure", False, STAYS_S),
        ("no-pressure", True, 20.5),
    ]
    assert "stays at 0.2 psi" in found[0].seen and "top dead centre" in found[0].todo


@pytest.mark.parametrize(
    "cylinder",
    [seconds(20.0, 0.06), np.concatenate([seconds(STAYS_S - 0.5, 0.0), seconds(20.0, 0.9)])],
    ids=["a great leak", "a hose that is moved"],
)
def test_what_is_no_such_thing(cylinder: Floats) -> None:
    assert not faults(cylinder)


def test_without_supply_nothing_flows() -> None:
    cylinder = seconds(20.0, 0.0)
    assert not faults(cylinder, np.full(len(cylinder), False))
