"""What is wrong with sensors or line, seen in the pressures alone. Each fault is told once, and when it is over.

The thresholds are judgements for garage sensors, without a source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from daq.measure.trailing import Switch, Trailing, windows
from daq.records import Bools, Calibration, Fault, Floats, Instrument, Pressures
from daq.units import both

_BELOW = -0.05
_ABOVE = 1.03
"""Of full scale: no working sensor reads less, or more."""
_STUCK_ROWS = 40
_OTHER_MOVED = 0.10
_STUCK_ABOVE = 0.05
"""Of the set point: how far the other channel moved, and from which pressure on standing still is strange."""
_NEAR, _SWAPPED = 0.10, 0.05  # of the set point
_SWAPPED_S = 4.0


@dataclass(frozen=True, slots=True)
class _Rows:
    """What the conditions look at: pressures of n rows, and their ranges over the last two seconds (NaN before)."""

    supply_pa: Floats
    cylinder_pa: Floats
    supply_range_pa: Floats
    cylinder_range_pa: Floats


@dataclass(frozen=True, slots=True)
class _Watch:
    """A fault as a condition on rows that must hold for a while; `seen` says it in numbers."""

    fault: str
    todo: str
    rise_s: float
    fall_s: float
    holds: Callable[[_Rows], Bools]
    seen: Callable[[float, float], str]


def _watches(instrument: Instrument, calibration: Calibration) -> list[_Watch]:
    """The table of faults for one bench."""
    show, set_point = both, instrument.set_point_pa
    supply, cylinder = calibration.supply, calibration.cylinder
    limit = min(instrument.hose_limit_pa, supply.full_scale_pa, cylinder.full_scale_pa)

    def still(range_pa: Floats, level_pa: Floats, other_range_pa: Floats) -> Bools:
        moved = other_range_pa > _OTHER_MOVED * set_point
        return np.asarray((range_pa == 0.0) & moved & (level_pa > _STUCK_ABOVE * set_point))

    def swapped(rows: _Rows) -> Bools:
        at_set_point = np.abs(rows.cylinder_pa - set_point) < _NEAR * set_point
        return np.asarray(at_set_point & (rows.cylinder_pa - rows.supply_pa > _SWAPPED * set_point))

    return [
        _Watch(
            "overpressure",
            "Close the regulator now and vent: the line is above the limit of its hose or sensors.",
            0.0, 1.0,
            lambda r: np.fmax(r.supply_pa, r.cylinder_pa) > limit,
            lambda p1, p2: f"supply {show(p1)}, cylinder {show(p2)}, limit {show(limit)}.",
        ),
        _Watch(
            "supply-sensor-open",
            "Check its plug, its 5 V and the signal wire.",
            0.3, 1.0,
            lambda r: r.supply_pa < _BELOW * supply.full_scale_pa,
            lambda p1, p2: f"The supply channel reads {show(p1)}, which no working sensor says.",
        ),
        _Watch(
            "cylinder-sensor-open",
            "Check its plug, its 5 V and the signal wire.",
            0.3, 1.0,
            lambda r: r.cylinder_pa < _BELOW * cylinder.full_scale_pa,
            lambda p1, p2: f"The cylinder channel reads {show(p2)}, which no working sensor says.",
        ),
        _Watch(
            "sensors-without-supply",
            "Check the 5 V of the sensors and the channel that measures it.",
            0.3,
            1.0,
            lambda r: np.isnan(r.supply_pa) | np.isnan(r.cylinder_pa),
            lambda p1, p2: "The board measures no sensor supply, so the pressures are unknown.",
        ),
        _Watch(
            "sensor-saturated",
            "A signal wire at 5 V, a sensor over its range, or a broken ground: check before you trust anything.",
            0.3, 1.0,
            lambda r: (r.supply_pa > _ABOVE * supply.full_scale_pa) | (r.cylinder_pa > _ABOVE * cylinder.full_scale_pa),
            lambda p1, p2: f"supply {show(p1)}, cylinder {show(p2)}: beyond full scale.",
        ),
        _Watch(
            "supply-sensor-stuck",
            "Check the sensor's port for dirt and the wiring for a loose signal.",
            0.2, 1.0,
            lambda r: still(r.supply_range_pa, r.supply_pa, r.cylinder_range_pa) & (r.supply_pa < r.cylinder_pa),
            lambda p1, p2: f"The supply channel stands at {show(p1)} without moving at all while the cylinder moves.",
        ),
        _Watch(
            "cylinder-sensor-stuck",
            "Check the sensor's port for dirt and the wiring for a loose signal.",
            0.2, 1.0,
            lambda r: still(r.cylinder_range_pa, r.cylinder_pa, r.supply_range_pa),
            lambda p1, p2: f"The cylinder channel stands at {show(p2)} without moving at all while the supply moves.",
        ),
        _Watch(
            "channels-swapped",
            "Swap the two signals at the board (or the two hoses): the supply cannot stay below the cylinder.",
            _SWAPPED_S, 1.0,
            swapped,
            lambda p1, p2: f"supply {show(p1)} stays below cylinder {show(p2)}.",
        ),
    ]  # fmt: skip


class FaultMonitor:
    """Watches the table of faults. A new segment begins with none."""

    def __init__(self, instrument: Instrument, calibration: Calibration) -> None:
        self._watches = _watches(instrument, calibration)
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._trailing = Trailing(2, _STUCK_ROWS)
        self._switches = [Switch(watch.rise_s, watch.fall_s) for watch in self._watches]

    def feed(self, pressures: Pressures) -> list[Fault]:
        """Faults that came or went among these rows, in the order of their rows."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        supply, cylinder = pressures.supply_gauge_pa, pressures.cylinder_gauge_pa
        ranges = _ranges(self._trailing.feed(supply, cylinder))
        rows = _Rows(supply, cylinder, *ranges)
        faults: list[Fault] = []
        for watch, switch in zip(self._watches, self._switches, strict=True):
            up = watch.holds(rows)
            if switch.resting and not up.any():
                continue
            on, changes = switch.feed(pressures.t_s, up, ~up)
            faults += [self._fault(watch, pressures, row, bool(on[row])) for row in changes.tolist()]
        return sorted(faults, key=lambda fault: fault.t_s)

    def _fault(self, watch: _Watch, pressures: Pressures, row: int, came: bool) -> Fault:
        seen = watch.seen(float(pressures.supply_gauge_pa[row]), float(pressures.cylinder_gauge_pa[row]))
        todo = watch.todo if came else ""
        return Fault(pressures.segment, float(pressures.t_s[row]), watch.fault, seen, todo, not came)


def _ranges(joined: Floats) -> Floats:
    """Highest less lowest over the windows that end at each new row, shape (2, n); NaN until there is a window."""
    window = windows(joined, np.arange(_STUCK_ROWS - 1, joined.shape[1]), _STUCK_ROWS)
    return np.asarray(window.max(axis=-1) - window.min(axis=-1))
