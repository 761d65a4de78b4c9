"""While the crank is turned over the top by hand: where the pressure falls back through its value at rest.

That is shortly after the top, and so near to it that a tone there tells the mechanic where to make a mark.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.records import Floats

REST_ROWS = 10
"""So many ticks at begin and end show the pressure at rest: half a second."""
CLEAR_RISE = 0.01
"""A hump rises by this part of the pressure at rest at least, and by `NOISES` times the noise."""
NOISES = 8.0
LIKE_THE_FIRST = 0.3
"""And by this part of the highest before it: air that warms up again after a pass makes a small hump too."""


@dataclass(frozen=True, slots=True)
class Hump:
    """Rows of a pass: first above the rest, peak, first below the rest again."""

    first: int
    peak: int
    fall: int


class ToneWatch:
    """Says where the pressure falls back through its value at rest, row by row as they come: the tone of each pass."""

    def __init__(self) -> None:
        self._rest: list[float] = []
        self._rest_pa = self._noise_pa = self._clear_pa = 0.0
        self._row = -1
        self._hump: list[int] = []
        self._peak_pa = self._highest_pa = 0.0
        self.humps: list[Hump] = []

    def feed(self, cylinder_gauge_pa: Floats) -> list[int]:
        """The rows, counted from the first ever fed, at which a tone is due."""
        return [self._row for pressure in cylinder_gauge_pa.tolist() if self._see(pressure)]

    def _see(self, pressure: float) -> bool:
        self._row += 1
        if len(self._rest) < REST_ROWS:
            self._rest.append(pressure)
            self._rest_pa, self._noise_pa = at_rest(np.array(self._rest))
            self._clear_pa = max(NOISES * self._noise_pa, CLEAR_RISE * self._rest_pa)
            return False
        rise = pressure - self._rest_pa
        return self._falls() if self._hump and rise < 0 else self._rises(rise)

    def _rises(self, rise: float) -> bool:
        if not self._hump and rise > max(self._clear_pa, LIKE_THE_FIRST * self._highest_pa):
            self._hump, self._peak_pa = [self._row, self._row], rise
        if self._hump and rise > self._peak_pa:
            self._hump[1], self._peak_pa = self._row, rise
        return False

    def _falls(self) -> bool:
        self.humps.append(Hump(self._hump[0], self._hump[1], self._row))
        self._hump, self._highest_pa = [], max(self._highest_pa, self._peak_pa)
        return True


def at_rest(pressure_pa: Floats) -> tuple[float, float]:
    """The level of some rows and the standard deviation of their noise, by differences: a slow course is no noise."""
    noise = float(np.std(np.diff(pressure_pa))) / math.sqrt(2) if len(pressure_pa) > 2 else 0.0
    return float(np.median(pressure_pa)), noise
