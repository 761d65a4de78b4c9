"""Air that flows and builds up no pressure: the hose is on, and a valve stands open.

With the air shut the supply holds as well, and the cylinder side is as empty. What tells the two apart is the little
that air in a hurry leaves behind it, a tenth of a psi or more above what the vented line has just read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from daq.measure.air import ON_ABOVE
from daq.measure.trailing import Switch, Trailing, windows
from daq.records import Bools, Fault, Floats, Instrument, Pressures, ZeroCheck
from daq.units import PA_PER_PSI, both

STAYS_S = 5.0
OVER_S = 0.5
FLOWS_ABOVE_PA = 0.1 * PA_PER_PSI
"""Over the mean of a second; noise of a tenth of that is usual."""
FAULT = "no-pressure"
NEXT = (
    "Shut the air. Is this cylinder at its own top dead centre, on compression? A valve stands open, or the hose is "
    "not on."
)
_ROWS = 20
_SURELY = 1.0 + 1e-9  # so that no rounding of a mean is below


class NoPressureMonitor:
    """One fault after `STAYS_S`, and its end when pressure builds up or the air is shut. For one segment."""

    def __init__(self, instrument: Instrument) -> None:
        self._full_pa = ON_ABOVE * instrument.set_point_pa
        self._trailing = Trailing(1, _ROWS)
        self._floor_pa = math.inf
        self._mixed = 0
        self._switch = Switch(STAYS_S, OVER_S)

    def feed(self, pressures: Pressures, held: Bools, zero_checks: Sequence[ZeroCheck]) -> list[Fault]:
        """`zero_checks` that moved the zero among these rows: what was empty before reads otherwise now."""
        cylinder = pressures.cylinder_gauge_pa
        (joined,) = self._trailing.feed(cylinder)
        if joined.min() > _SURELY * self._full_pa and self._switch.resting and not zero_checks:
            self._floor_pa, self._mixed = math.inf, max(self._mixed - len(cylinder), 0)
            return []  # as below, sooner: under pressure for more than a second
        above = self._above_floor(joined, pressures, {check.t_s for check in zero_checks if check.adjusted})
        flows = held & (above > FLOWS_ABOVE_PA) & (cylinder < self._full_pa)
        over = ~held | (above < FLOWS_ABOVE_PA / 2) | (cylinder > self._full_pa)
        on, changes = self._switch.feed(pressures.t_s, flows, over)
        return [self._fault(pressures, row, bool(on[row])) for row in changes.tolist()]

    def _above_floor(self, joined: Floats, pressures: Pressures, moved: set[float]) -> Floats:
        """The mean of a second less the lowest one since the line was last under pressure; NaN in the first second."""
        rows = len(pressures.t_s)
        mean = windows(joined, np.arange(_ROWS - 1, _ROWS - 1 + rows), _ROWS).mean(axis=-1)
        steps = zip(pressures.t_s.tolist(), mean.tolist(), strict=True)
        return np.array([self._step(mean_pa, t_s in moved) for t_s, mean_pa in steps])

    def _step(self, mean_pa: float, moved: bool) -> float:
        """After the zero was moved, means are of both sides of that for a while."""
        self._mixed = _ROWS if moved else max(self._mixed - 1, 0)
        if self._mixed or not mean_pa <= self._full_pa:
            self._floor_pa = math.inf
            return math.nan
        self._floor_pa = min(self._floor_pa, mean_pa)
        return mean_pa - self._floor_pa

    def _fault(self, pressures: Pressures, row: int, came: bool) -> Fault:
        supply_pa, cylinder_pa = float(pressures.supply_gauge_pa[row]), float(pressures.cylinder_gauge_pa[row])
        t_s = float(pressures.t_s[row])
        if not came:
            return Fault(pressures.segment, t_s, FAULT, "Pressure builds up, or the air is shut.", "", over=True)
        seen = f"Air flows at {both(supply_pa)}, and the cylinder side stays at {both(cylinder_pa)}."
        return Fault(pressures.segment, t_s, FAULT, seen, NEXT)
