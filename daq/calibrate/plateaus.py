"""Finds by itself where two pressures have come to rest, while somebody turns the regulator."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.records import Floats

WINDOW_ROWS = 30
LONGEST_S = 2.2
"""A window of 30 ticks takes 1.5 s; one that lasts longer has holes, and tells nothing."""
SETTLED_PER_S = 0.0025
"""Slope that counts as rest, part of the set point a second, the noise taken against it."""
MOVED = 0.08
"""A new plateau is at least this part of the set point away from the one before."""
FALLING_ROWS = 80
FALLING_FAST_PER_S = 0.05
_EVEN = 0.5
_T = 2.05  # Student's t of 28 degrees of freedom, 95 %
_MOST_CORRELATION = 0.9


@dataclass(frozen=True, slots=True)
class Plateau:
    """Means over the window that ends at `t_s`; `u_difference_pa` is the standard deviation of the mean difference,
    with the noise as found (its autocorrelation included). Gauge, Pa."""

    t_s: float
    supply_pa: float
    cylinder_pa: float
    u_difference_pa: float

    @property
    def difference_pa(self) -> float:
        """Cylinder - supply."""
        return self.cylinder_pa - self.supply_pa


class PlateauFinder:
    """Feed it rows in their order, one a tick, split in any way; it gives each plateau once, as soon as it is one.

    Whether a plateau makes sense is for others to judge. `state` is a word for whoever watches.
    """

    def __init__(self, set_point_pa: float) -> None:
        self._settled_pa_s = SETTLED_PER_S * set_point_pa
        self._falls_fast_pa_s = FALLING_FAST_PER_S * set_point_pa
        self._moved_pa = MOVED * set_point_pa
        self._rows = np.empty((3, 0))
        self._told_pa = math.inf
        self.state = "waiting"
        self.falling_pa_per_s = 0.0
        """How fast the pressure of both sides has been falling, evenly, for some seconds; 0 if it does not."""

    def feed(self, t_s: Floats, supply_pa: Floats, cylinder_pa: Floats) -> list[Plateau]:
        """The plateaus that are complete with these rows."""
        found = (self._row(row) for row in np.stack([t_s, supply_pa, cylinder_pa]).T)
        return [plateau for plateau in found if plateau is not None]

    def _row(self, row: Floats) -> Plateau | None:
        if self._rows.size and row[0] <= self._rows[0, -1]:  # a new segment: the clock began again
            self._rows = np.empty((3, 0))
        self._rows = np.column_stack([self._rows, row])[:, -FALLING_ROWS:]
        window = self._rows[:, -WINDOW_ROWS:]
        if window.shape[1] < WINDOW_ROWS or window[0, -1] - window[0, 0] > LONGEST_S:
            self.state = "waiting"
            return None
        self.falling_pa_per_s = self._falling()
        if not at_rest(window[0], window[1:], self._settled_pa_s):
            self.state = "moving"
            return None
        self.state = "at rest"
        supply_pa = float(window[1].mean())
        if abs(supply_pa - self._told_pa) < self._moved_pa:
            return None
        self._told_pa = supply_pa
        return Plateau(float(row[0]), supply_pa, float(window[2].mean()), _u_of_mean(window[2] - window[1]))

    def _falling(self) -> float:
        """An even fall of the cylinder side, too slow for a hand that turns the regulator down. Over four seconds."""
        if self._rows.shape[1] < FALLING_ROWS:
            return 0.0
        quarters = self._rows[:, :FALLING_ROWS].reshape(3, 4, -1)
        slopes = np.array([_slope(quarters[0, n], quarters[2, n])[0] for n in range(4)])
        rates = -slopes
        even = rates.min() > max(self._settled_pa_s, _EVEN * rates.max()) and rates.max() < self._falls_fast_pa_s
        return float(rates.mean()) if even else 0.0


def at_rest(t_s: Floats, sides_pa: Floats, settled_pa_s: float) -> bool:
    """Whether every side, shape (sides, n), is shown to be flat: its slope with the noise against it is allowed."""
    return all(_steepest(t_s, side) <= settled_pa_s for side in sides_pa)


def _slope(t_s: Floats, pressure_pa: Floats) -> tuple[float, float]:
    """Slope of the least-squares line and its standard error, Pa/s."""
    apart_s = t_s - t_s.mean()
    spread = float((apart_s**2).sum())
    slope = float((apart_s * pressure_pa).sum()) / spread
    residual = pressure_pa - pressure_pa.mean() - slope * apart_s
    return slope, math.sqrt(float((residual**2).sum()) / (len(t_s) - 2) / spread)


def _steepest(t_s: Floats, pressure_pa: Floats) -> float:
    """The greatest slope that this noise leaves possible, Pa/s."""
    slope, error = _slope(t_s, pressure_pa)
    return abs(slope) + _T * error


def _u_of_mean(difference_pa: Floats) -> float:
    """Standard deviation of the mean of correlated rows: as of fewer rows, by a first-order autoregression."""
    apart = difference_pa - difference_pa.mean()
    squares = float((apart**2).sum())
    if squares == 0:
        return 0.0
    correlation = min(max(float((apart[1:] * apart[:-1]).sum()) / squares, 0.0), _MOST_CORRELATION)
    n = len(apart)
    return math.sqrt(squares / (n - 1) / n * (1 + correlation) / (1 - correlation))
