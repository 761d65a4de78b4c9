"""The soft step: a low pressure that stands for a while before the full one shows that the crank holds."""

from __future__ import annotations

import numpy as np

from daq.measure.air import OFF_BELOW, ON_ABOVE
from daq.measure.trailing import Switch, Trailing
from daq.records import Instrument, Pressures, SoftStep

STANDS_S = 1.0
FALL_S = 0.2
LOW_BELOW, OVER_ABOVE = 0.5, 0.6
"""Of the set point: a quarter to a half of the torque is what a crank that will not hold should meet first."""
STEADY = 0.01  # of the set point, within the half second looked back on
_ROWS = 11


class SoftStepMonitor:
    """One SoftStep as soon as both pressures have stood between vented and half the set point for `STANDS_S`; another
    one only after the line was vented or brought to pressure."""

    def __init__(self, instrument: Instrument) -> None:
        self._set_point_pa = instrument.set_point_pa
        self._trailing = Trailing(2, _ROWS)
        self._switch = Switch(STANDS_S, FALL_S)

    def feed(self, pressures: Pressures) -> list[SoftStep]:
        """The soft steps among these rows; for one segment."""
        supply, cylinder = pressures.supply_gauge_pa, pressures.cylinder_gauge_pa
        set_pa, back = self._set_point_pa, _ROWS - 1
        joined = self._trailing.feed(supply, cylinder)
        low = (cylinder > ON_ABOVE * set_pa) & (supply < LOW_BELOW * set_pa)
        if self._switch.resting and not np.count_nonzero(low):
            return []
        steady = np.abs(joined[:, back:] - joined[:, :-back]) < STEADY * set_pa
        over = (cylinder < OFF_BELOW * set_pa) | (supply > OVER_ABOVE * set_pa)
        on, changes = self._switch.feed(pressures.t_s, low & steady[0] & steady[1], over)
        return [
            SoftStep(pressures.segment, float(pressures.t_s[row]), float(supply[row]), float(cylinder[row]))
            for row in changes.tolist()
            if on[row]
        ]
