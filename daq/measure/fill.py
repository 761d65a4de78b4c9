"""Sooner than stable: where the loss will end and how large the cylinder is, told while the pressure still rises.

A rise of the cylinder pressure, a fill or the recovery from a tap, is followed from where it slows down: before that a
hand is on the valve. It is told when its interval has become of use, and again when that has shrunk, until the reading
is stable. What does not rise, or does not rise as `fill_model` says, is not told of.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from daq.measure import budget
from daq.measure.fill_bank import FillBank, Told
from daq.measure.fill_model import CHOKED_ABOVE
from daq.measure.known_errors import errors
from daq.measure.trailing import Trailing
from daq.records import Bools, Calibration, Expectation, Instrument, Pressures

USEFUL_PCT, USEFUL_PART, USEFUL_SENSORS = 1.0, 0.1, 1.25
"""Half-width of the 95 % interval from which on an expectation is of use: points, or part of the loss, or times what
the sensors alone leave uncertain, of which no waiting will rid it."""
SHRINKS = 1.7
"""It is told again when the interval is so many times narrower."""
MOST_TOLD = 5
STEEP = 0.015
"""Change of the cylinder pressure within two ticks, of the set point, that begins a rise, or downwards ends it."""
LEAST_RISE = 0.05
"""A smaller rise, part of the set point, is not followed: supply and regulator do such things."""
LONGEST_ROWS = 160
LEAST_ROWS = 6
_SLOWED = 0.85  # of the steepest change so far
_EMPTY = 0.1  # of the set point: what rises from below it fills by a hand on the valve
_BADLY = 4.0
"""Misfit at which the filters are given up, and begun anew when the rise slows down further."""
_MOST_STEP_S = 0.25
_LEAST_SUPPLY = 0.5  # of the set point
_COVERAGE = 1.96
_MODEL_PCT, _MODEL_PART = 0.03, 0.003
"""Standard uncertainty of what the model leaves out, and of sensors that err differently at other pressures: points,
and part of the loss (judgement)."""
_SENSORS_AT = 0.85  # of the supply: the cylinder pressure for which the difference of both channels is judged


@dataclass(frozen=True, slots=True)
class _Row:
    """A row and the one before it: time, supply and cylinder gauge pressure."""

    before: list[float]
    now: list[float]

    @property
    def t_s(self) -> float:
        return self.now[0]

    @property
    def step_s(self) -> float:
        return self.now[0] - self.before[0]

    @property
    def supply_pa(self) -> float:
        return self.now[1]

    @property
    def mean_supply_pa(self) -> float:
        return 0.5 * (self.before[1] + self.now[1])

    @property
    def cylinder_pa(self) -> float:
        return self.now[2]


class _Rise:
    """One rise: how steep it was, the filters since it slowed down, and what was told of it."""

    def __init__(self, lowest_pa: float) -> None:
        self.lowest_pa, self.steepest, self.rows = lowest_pa, 0.0, 0
        self.bank: FillBank | None = None
        self.told, self.half_width_pct = 0, math.inf


class FillEstimator:
    """Follows the rises of one stream of ticks. The same rows, split in any way, give the same bits.

    `instrument` as calibrated; `at_s` is the host's time of the link, for the ages of the records of `calibration`;
    `resolution_pa` is one count. Nothing is done while nothing rises; a row of a rise costs the same whenever it comes.
    """

    def __init__(self, instrument: Instrument, calibration: Calibration, at_s: float, resolution_pa: float) -> None:
        self._instrument, self._resolution_pa = instrument, resolution_pa
        supply_pa, cylinder_pa = instrument.set_point_pa, _SENSORS_AT * instrument.set_point_pa
        noise = (0.0, 0.0, math.inf)
        found = errors(supply_pa, cylinder_pa, noise, resolution_pa, calibration, instrument, at_s)
        lines = budget.contributions(found, supply_pa, cylinder_pa, instrument)
        self._u_offset_pa = 0.01 * supply_pa * math.sqrt(math.fsum(line.contribution_pct**2 for line in lines))
        self._sensors_pct = 100 * _COVERAGE * self._u_offset_pa / instrument.set_point_pa
        self._u_area = math.sqrt(math.fsum(error.area**2 for error in found))
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._trailing = Trailing(3, 3)
        self._rise: _Rise | None = None

    def feed(self, pressures: Pressures, stable: Bools) -> list[Expectation]:
        """What is expected at any of these rows; nothing at a `stable` one, nor until the pressure rises again.

        Losses are those at the supply as measured, with their 95 % interval; the volume has the hose in it.
        """
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        joined = self._trailing.feed(pressures.t_s, pressures.supply_gauge_pa, pressures.cylinder_gauge_pa)
        change = (joined[1:, 2:] - joined[1:, :-2]) / self._instrument.set_point_pa
        rise = np.minimum(change[1], change[1] - change[0])
        if self._rise is None and not (rise > STEEP).any():
            return []
        rows = [_Row(*pair) for pair in pairwise(joined[:, 1:].T.tolist())]
        lowest = joined[2, :-2].tolist()
        told = map(self._row, rows, rise.tolist(), lowest, stable.tolist())
        return [expectation for expectation in told if expectation]

    def _row(self, row: _Row, rise: float, lowest_pa: float, stable: bool) -> Expectation | None:
        """One row; `rise` is how much nearer the cylinder came to the supply within two ticks, of the set point."""
        if self._rise is None and rise > STEEP:
            self._rise = _Rise(lowest_pa)
        if self._rise is None:
            return None
        if stable or not self._goes_on(row, rise, self._rise):
            self._rise = None
            return None
        return self._followed(row, rise, self._rise)

    def _goes_on(self, row: _Row, rise: float, followed: _Rise) -> bool:
        supplied = row.supply_pa > _LEAST_SUPPLY * self._instrument.set_point_pa
        return rise > -STEEP and supplied and row.step_s <= _MOST_STEP_S and followed.rows < LONGEST_ROWS

    def _followed(self, row: _Row, rise: float, followed: _Rise) -> Expectation | None:
        followed.rows += 1
        bank, atmosphere_pa = followed.bank, self._instrument.atmosphere_pa
        if bank is None:
            followed.steepest = max(followed.steepest, rise)
            if self._slowed(row, rise, followed):
                followed.bank = self._bank(row, followed)
            return None
        if followed.told == MOST_TOLD:
            return None
        bank.feed(row.mean_supply_pa + atmosphere_pa, row.cylinder_pa + atmosphere_pa, row.step_s)
        if bank.misfit > _BADLY:
            followed.bank, followed.steepest = None, rise
            return None
        if bank.rows < LEAST_ROWS:
            return None
        besides_pct = math.hypot(_MODEL_PCT, _MODEL_PART * 100 * (1 - row.cylinder_pa / row.supply_pa))
        found = bank.told(row.supply_pa + atmosphere_pa, besides_pct, lambda loss: self._most_half_pct(loss, followed))
        return self._told(row, found, followed) if found is not None else None

    def _most_half_pct(self, loss_pct: float, followed: _Rise) -> float:
        """How wide the interval may be to each side, to be of use and news."""
        useful_pct = max(USEFUL_PCT, USEFUL_PART * loss_pct, USEFUL_SENSORS * self._sensors_pct)
        return min(useful_pct, followed.half_width_pct / SHRINKS)

    def _slowed(self, row: _Row, rise: float, followed: _Rise) -> bool:
        """Past the steepest part, the leak choked, and high enough above where it began."""
        choked = row.cylinder_pa > (CHOKED_ABOVE - 1.0) * self._instrument.atmosphere_pa
        high = row.cylinder_pa - followed.lowest_pa > LEAST_RISE * self._instrument.set_point_pa
        return rise < _SLOWED * followed.steepest and choked and high

    def _bank(self, row: _Row, followed: _Rise) -> FillBank:
        atmosphere_pa = self._instrument.atmosphere_pa
        cylinder_pa, lowest_pa = row.cylinder_pa + atmosphere_pa, followed.lowest_pa + atmosphere_pa
        hand = followed.lowest_pa < _EMPTY * self._instrument.set_point_pa
        return FillBank(self._instrument, self._resolution_pa, self._u_offset_pa, cylinder_pa, lowest_pa, hand)

    def _told(self, row: _Row, found: Told, followed: _Rise) -> Expectation | None:
        """The expectation, if it is news."""
        half_pct = 0.5 * (found.high_pct - found.low_pct)
        if half_pct > self._most_half_pct(found.loss_pct, followed):
            return None
        best_told = half_pct < SHRINKS * self._sensors_pct  # the sensors let it become no narrower
        followed.told, followed.half_width_pct = MOST_TOLD if best_told else followed.told + 1, half_pct
        u_volume_m3 = math.hypot(found.u_volume_m3, self._u_area * found.volume_m3)
        return Expectation(
            self._segment,
            row.t_s,
            found.loss_pct,
            max(found.low_pct, 0.0),
            found.high_pct,
            found.volume_m3,
            u_volume_m3,
        )
