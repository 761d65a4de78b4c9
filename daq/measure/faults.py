"""What is wrong with sensors or line, seen in the pressures alone. Each fault is told once, and when it is over.

The thresholds are judgements for garage sensors, without a source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from daq.measure.air import ON_ABOVE
from daq.measure.frozen_fill import FrozenFill
from daq.measure.trailing import Switch, Trailing, windows
from daq.measure.unmoved import UnmovedSupply
from daq.records import Bools, Calibration, Fault, Floats, Instrument, Pressures
from daq.units import both

_BELOW, _ABOVE = -0.05, 1.03
"""Of full scale: no working sensor reads less, or more."""
_ROWS = 40
"""Two seconds: how far a channel moved, and how far the other one did meanwhile."""
_OTHER_MOVED, _STILL = 0.10, 0.02
"""Of the set point, how far the other channel moved; and of that, what a channel that stands still may move: the
restrictor lets no cylinder rest while its supply changes, and no supply stands below a cylinder that changes."""
_MOVES_AGAIN, _SUPPLY_MOVES_AGAIN = 0.01, 0.003
"""Of the set point; a supply that is alive may move no more than its regulator."""
_BLOCKS = 5
"""Ten seconds in pieces of `_ROWS`: in the first three a channel had its noise, in the last it has lost it."""
_SILENT, _STEPS_TO_RANGE = 0.25, 5.0
"""Of the least range that its noise had in those three: of 40 values of white noise, five times the median step."""
_LEAST_NOISE, _LEAST_RANGE = 0.15, 1.0
"""Counts: less may be a flicker about the edge of one count, which stops when the pressure moves off it."""
_STUCK_ABOVE = 0.05
"""Of the set point: from which pressure on standing still is strange."""
_NEAR, _SWAPPED = 0.10, 0.05  # of the set point
_SWAPPED_S = 4.0
_JUMP_ROWS, _JUMPED = 2, 0.8
"""A step within so many ticks, of all that the cylinder channel moved: all of it at once is no air."""
_TICK_AND_MORE_S = 0.04
"""So long as it takes to see a second tick: the mean of the first may lie halfway to a sensor that reads nonsense."""


@dataclass(frozen=True, slots=True)
class _Rows:
    """What the conditions look at, n rows: pressures as read, the same without what no working sensor reads (NaN), and
    the lowest and highest of these in the last two seconds (NaN before, and with a NaN among them); at which of the
    rows it is asked for the supply channel has lost its noise, and at which it stands although the flow has changed;
    and at which of those asked for the cylinder channel jumped up, from one pressure to another, and at which it stands
    since it froze in the middle of a fill."""

    supply_pa: Floats
    cylinder_pa: Floats
    good_supply_pa: Floats
    good_cylinder_pa: Floats
    supply_low_pa: Floats
    cylinder_low_pa: Floats
    supply_high_pa: Floats
    cylinder_high_pa: Floats
    supply_silent: Callable[[Bools], Bools]
    supply_unmoved: Bools
    cylinder_jumped: Callable[[Bools], Bools]
    cylinder_frozen: Bools

    @property
    def supply_range_pa(self) -> Floats:
        return self.supply_high_pa - self.supply_low_pa

    @property
    def cylinder_range_pa(self) -> Floats:
        return self.cylinder_high_pa - self.cylinder_low_pa


@dataclass(frozen=True, slots=True)
class _Watch:
    """A fault as a condition on rows that must hold for a while; `seen` says it in numbers. It is over when it no
    longer holds, or when `gone` does. With `at_once` its rows are not believed before it is told, without `spoils` they
    are all the same."""

    fault: str
    todo: str
    rise_s: float
    fall_s: float
    holds: Callable[[_Rows], Bools]
    seen: Callable[[float, float], str]
    gone: Callable[[_Rows], Bools] | None = None
    unless: str = ""
    spoils: bool = True
    at_once: bool = True


def _watches(instrument: Instrument, calibration: Calibration) -> list[_Watch]:
    """The table of faults for one bench."""
    show, set_point = both, instrument.set_point_pa
    supply, cylinder = calibration.supply, calibration.cylinder
    limit = min(instrument.hose_limit_pa, supply.full_scale_pa, cylinder.full_scale_pa)

    def cylinder_still(rows: _Rows) -> Bools:
        """A supply that rises below a cylinder at rest is rather the cylinder, on the wrong channel."""
        if not (rows.supply_range_pa > _OTHER_MOVED * set_point).any():
            return rows.cylinder_frozen
        fell = rows.supply_high_pa - rows.good_supply_pa > _OTHER_MOVED * set_point
        rose = rows.good_supply_pa - rows.supply_low_pa > _OTHER_MOVED * set_point
        still = rows.cylinder_range_pa <= _STILL * rows.supply_range_pa
        moved = fell | (rose & (rows.good_cylinder_pa < rows.good_supply_pa))
        return np.asarray(rows.cylinder_frozen | (moved & still & (rows.good_cylinder_pa > _STUCK_ABOVE * set_point)))

    def below(rows: _Rows) -> Bools:
        """A supply that stands still below its cylinder."""
        far = rows.good_cylinder_pa - rows.good_supply_pa > _SWAPPED * set_point
        return np.asarray(far & (rows.supply_range_pa <= _STILL * rows.cylinder_range_pa))

    def jumped(rows: _Rows) -> Bools:
        asked = below(rows) & (rows.cylinder_range_pa > _SWAPPED * set_point)
        return rows.cylinder_jumped(asked) if asked.any() else asked

    def supply_still(rows: _Rows) -> Bools:
        moved = rows.cylinder_range_pa > _OTHER_MOVED * set_point
        if not moved.any():
            return rows.supply_unmoved
        pressurised = rows.good_supply_pa > _STUCK_ABOVE * set_point
        seen = (below(rows) & ~jumped(rows)) | rows.supply_silent(moved)
        return np.asarray(pressurised & (rows.supply_unmoved | (moved & seen)))

    def swapped(rows: _Rows) -> Bools:
        at_set_point = np.abs(rows.good_cylinder_pa - set_point) < _NEAR * set_point
        return np.asarray(at_set_point & (rows.good_cylinder_pa - rows.good_supply_pa > _SWAPPED * set_point))

    return [
        _Watch(
            "overpressure",
            "Close the regulator now and vent: the line is above the limit of its hose or sensors.",
            _TICK_AND_MORE_S, 1.0,
            lambda r: np.fmax(r.good_supply_pa, r.good_cylinder_pa) > limit,
            lambda p1, p2: f"supply {show(p1)}, cylinder {show(p2)}, limit {show(limit)}.",
            spoils=False,
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
            "Close the regulator. Then look for a signal wire at 5 V, a broken ground, or a sensor over its range.",
            0.3, 1.0,
            lambda r: (r.supply_pa > _ABOVE * supply.full_scale_pa) | (r.cylinder_pa > _ABOVE * cylinder.full_scale_pa),
            lambda p1, p2: f"supply {show(p1)}, cylinder {show(p2)}: beyond full scale.",
        ),
        _Watch(
            "cylinder-sensor-jumped",
            "Check its plug and its signal wire: no air raises a pressure so fast.",
            0.2, 1.0,
            jumped,
            lambda p1, p2: f"The cylinder channel jumped to {show(p2)}, above the supply at {show(p1)}.",
            lambda r: r.good_cylinder_pa - r.good_supply_pa <= _SWAPPED * set_point,
        ),
        _Watch(
            "channels-swapped",
            "Swap the two signals at the board (or the two hoses): the supply cannot stay below the cylinder.",
            _SWAPPED_S, 1.0,
            swapped,
            lambda p1, p2: f"supply {show(p1)} stays below cylinder {show(p2)}.",
            lambda r: r.good_supply_pa - r.good_cylinder_pa > _SWAPPED * set_point,
        ),
        _Watch(
            "supply-sensor-stuck",
            "Check the sensor's port for dirt and the wiring for a loose signal.",
            1.0, 0.2,
            supply_still,
            lambda p1, p2: f"The supply channel stands at {show(p1)} while the cylinder moves.",
            lambda r: ~r.supply_unmoved & (r.supply_range_pa > _SUPPLY_MOVES_AGAIN * set_point),
            "channels-swapped",
            at_once=False,
        ),
        _Watch(
            "cylinder-sensor-stuck",
            "Is the shut-off valve open? Then check the sensor's port for dirt and the wiring for a loose signal.",
            0.2, 0.2,
            cylinder_still,
            lambda p1, p2: f"The cylinder channel stands at {show(p2)}, as no cylinder does at a supply of {show(p1)}.",
            lambda r: ~r.cylinder_frozen & (r.cylinder_range_pa > _MOVES_AGAIN * set_point),
            "channels-swapped",
            at_once=False,
        ),
    ]  # fmt: skip


class FaultMonitor:
    """Watches the table of faults. A new segment begins with none.

    `spoilt` tells of each row of the last `feed` whether a sensor says what must not be taken for a pressure; no
    cylinder stands above its supply.
    """

    spoilt: Bools

    def __init__(self, instrument: Instrument, calibration: Calibration) -> None:
        self._watches = _watches(instrument, calibration)
        self._instrument, self._set_point_pa = instrument, instrument.set_point_pa
        self._full_scales_pa = calibration.supply.full_scale_pa, calibration.cylinder.full_scale_pa
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._trailing = Trailing(2, _BLOCKS * _ROWS)
        self._unmoved, self._frozen = UnmovedSupply(self._set_point_pa), FrozenFill(self._instrument)
        self._switches = [Switch(watch.rise_s, watch.fall_s) for watch in self._watches]

    def feed(self, pressures: Pressures, resolution_pa: float = np.inf) -> list[Fault]:
        """Faults that came or went among these rows, in the order of their rows. `resolution_pa` is one count of the
        converter; a channel whose noise may be less than that cannot be seen to lose it."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        supply, cylinder = pressures.supply_gauge_pa, pressures.cylinder_gauge_pa
        good = _good(supply, self._full_scales_pa[0]), _good(cylinder, self._full_scales_pa[1])
        past = self._trailing.feed(*good)
        silent = partial(_silent, past[0], resolution_pa)
        unmoved = self._unmoved.feed(past, len(supply), resolution_pa)
        low, high = _lows_and_highs(past)
        frozen = self._frozen.feed(past, len(supply), resolution_pa)
        jumped = partial(_jumped, past[1], ON_ABOVE * self._set_point_pa)
        rows = _Rows(supply, cylinder, *good, low[0], low[1], high[0], high[1], silent, unmoved, jumped, frozen)
        faults: list[Fault] = []
        stands: dict[str, Bools] = {}
        self.spoilt = frozen | (good[1] - good[0] > _SWAPPED * self._set_point_pa)
        for watch, switch in zip(self._watches, self._switches, strict=True):
            up = watch.holds(rows)
            if watch.unless in stands:
                up = up & ~stands[watch.unless]
            if switch.resting and not up.any():
                continue
            on, changes = switch.feed(pressures.t_s, up, ~up if watch.gone is None else watch.gone(rows))
            stands[watch.fault] = on
            if watch.spoils:
                self.spoilt |= on | up if watch.at_once else on
            faults += [self._fault(watch, pressures, row, bool(on[row])) for row in changes.tolist()]
        return sorted(faults, key=lambda fault: fault.t_s)

    def _fault(self, watch: _Watch, pressures: Pressures, row: int, came: bool) -> Fault:
        seen = watch.seen(float(pressures.supply_gauge_pa[row]), float(pressures.cylinder_gauge_pa[row]))
        todo = watch.todo if came else ""
        return Fault(pressures.segment, float(pressures.t_s[row]), watch.fault, seen, todo, not came)


def _silent(past_pa: Floats, resolution_pa: float, asked: Bools) -> Bools:
    """Where the noise of a channel is gone: its range is far less than in any of three pieces of its past, as far as
    that was noise and not motion. `past_pa` ends with the rows of `asked`; False where it is not asked."""
    silent = np.zeros(len(asked), np.bool_)
    ends = np.flatnonzero(asked) + len(past_pa) - len(asked)
    if not len(ends):
        return silent
    pieces = windows(past_pa, ends, _BLOCKS * _ROWS).reshape(-1, _BLOCKS, _ROWS)
    steps = np.sort(np.abs(np.diff(pieces[:, :-2])))[..., _ROWS // 2].min(axis=-1)
    ranges = pieces.max(axis=-1) - pieces.min(axis=-1)
    least = ranges[:, :-2].min(axis=-1)
    alive = (steps > _LEAST_NOISE * resolution_pa) & (least > _LEAST_RANGE * resolution_pa)
    silent[asked] = alive & (ranges[:, -1] < _SILENT * np.minimum(least, _STEPS_TO_RANGE * steps))
    return silent


def _jumped(past_pa: Floats, pressure_pa: float, asked: Bools) -> Bools:
    """Where all that a channel moved in two seconds is one step up, from above `pressure_pa`; as for `_silent`."""
    jumped = np.zeros(len(asked), np.bool_)
    window = windows(past_pa, np.flatnonzero(asked) + len(past_pa) - len(asked), _ROWS)
    low, high = window.min(axis=-1), window.max(axis=-1)
    rise = (window[:, _JUMP_ROWS:] - window[:, :-_JUMP_ROWS]).max(axis=-1)
    jumped[asked] = (rise > _JUMPED * (high - low)) & (low > pressure_pa)
    return jumped


def _good(pressure_pa: Floats, full_scale_pa: float) -> Floats:
    """NaN where no working sensor could read that."""
    works = (pressure_pa >= _BELOW * full_scale_pa) & (pressure_pa <= _ABOVE * full_scale_pa)
    return np.where(works, pressure_pa, np.nan)


def _lows_and_highs(past_pa: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest over the windows that end at each new row, shape (2, n) each; NaN until there is a window."""
    window = windows(past_pa, np.arange(_BLOCKS * _ROWS - 1, past_pa.shape[1]), _ROWS)
    return window.min(axis=-1), window.max(axis=-1)
