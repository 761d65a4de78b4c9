"""Air that flows and builds up no pressure."""

from __future__ import annotations

import numpy as np
import pytest

from daq.measure.no_pressure import STAYS_S, NoPressureMonitor
from daq.records import Bools, Fault, Floats, Instrument, Pressures, ZeroCheck

SET_PA, TICK_S = 690e3, 0.05
INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, SET_PA, 14e3)
NOISE_PA = 40.0


def faults(
    cylinder_pa: Floats, held: Bools | None = None, split: int = 1000, zero_moved_s: float | None = None
) -> list[Fault]:
    rows = len(cylinder_pa)
    cylinder_pa = cylinder_pa + np.random.default_rng(3).normal(0.0, NOISE_PA, rows)
    t_s, supply = TICK_S * np.arange(rows), np.full(rows, SET_PA)
    held = np.full(rows, True) if held is None else held
    monitor, found = NoPressureMonitor(INSTRUMENT), []
    for start in range(0, rows, split):
        cut = slice(start, start + split)
        part = cylinder_pa[cut]
        pressures = Pressures(1, t_s[cut], supply[cut], part, part, np.zeros(len(part), np.int64))
        checks = [
            ZeroCheck(1, float(t), 0.0, 0.0, True, "")
            for t in t_s[cut]
            if zero_moved_s is not None and abs(t - zero_moved_s) < TICK_S / 2
        ]
        found += monitor.feed(pressures, held[cut], checks)
    return found


def seconds(length_s: float, value_pa: float) -> Floats:
    return np.full(round(length_s / TICK_S), value_pa)


SHUT, BLOWS, FULL = seconds(4.0, 300.0), seconds(12.0, 1800.0), seconds(5.0, 650e3)


@pytest.mark.parametrize("split", [1, 7, 1000])
def test_it_is_told_once_and_its_end_too(split: int) -> None:
    found = faults(np.concatenate([SHUT, BLOWS, FULL]), split=split)
    assert [(fault.fault, fault.over) for fault in found] == [("no-pressure", False), ("no-pressure", True)]
    assert 4.0 + STAYS_S < found[0].t_s < 4.0 + STAYS_S + 1.0 and 16.0 < found[1].t_s < 17.0
    assert "stays at 0.3 psi" in found[0].seen and "top dead centre" in found[0].todo


def test_it_ends_too_when_the_air_is_shut() -> None:
    assert [fault.over for fault in faults(np.concatenate([SHUT, BLOWS, SHUT]))] == [False, True]


@pytest.mark.parametrize(
    "cylinder_pa",
    [
        seconds(60.0, 300.0),
        np.concatenate([SHUT, seconds(20.0, 45e3)]),
        np.concatenate([SHUT, seconds(STAYS_S - 0.5, 1800.0), FULL]),
        np.concatenate([FULL, seconds(30.0, 1800.0)]),
        np.linspace(0.0, 600.0, 10_000),
    ],
    ids=["the air is shut", "a great leak", "a hose that is moved", "a zero that came back high", "a zero that drifts"],
)
def test_what_is_no_such_thing(cylinder_pa: Floats) -> None:
    assert not faults(cylinder_pa)


def test_a_zero_that_is_adjusted_is_no_flow() -> None:
    moved = np.concatenate([seconds(4.0, -2500.0), seconds(20.0, 0.0)])
    assert not faults(moved, zero_moved_s=4.0)
    assert faults(moved), "without knowing of it"


def test_without_supply_nothing_flows() -> None:
    cylinder_pa = np.concatenate([SHUT, BLOWS])
    assert not faults(cylinder_pa, np.full(len(cylinder_pa), False))
