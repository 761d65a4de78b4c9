"""Whether the cylinder side is under pressure: is a cylinder connected, or has it been vented?"""

from __future__ import annotations

from daq.measure.trailing import Switch
from daq.records import AirChange, AirState, Instrument, Pressures

RISE_S = 0.2
FALL_S = 1.5
"""A tap can empty a cylinder for up to a second; a hose that was pulled off stays empty."""
ON_ABOVE, OFF_BELOW = 0.05, 0.03  # of the set point


class AirMonitor:
    """On after `RISE_S` above 5 % of the set point, off after `FALL_S` below 3 % of it.

    In a new segment neither is known: the first that is found is told, whatever it was before.
    """

    def __init__(self, instrument: Instrument) -> None:
        self._set_point_pa = instrument.set_point_pa
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._switch = Switch(RISE_S, FALL_S)
        self._vented = Switch(FALL_S, RISE_S)
        self._known = False

    def feed(self, pressures: Pressures) -> list[AirChange]:
        """The changes among these rows."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        cylinder_pa = pressures.cylinder_gauge_pa
        up, down = cylinder_pa > ON_ABOVE * self._set_point_pa, cylinder_pa < OFF_BELOW * self._set_point_pa
        on, changes = self._switch.feed(pressures.t_s, up, down)
        rows = changes.tolist()
        if not self._known:
            _, vented = self._vented.feed(pressures.t_s, down, up)
            rows = sorted({*rows, *vented.tolist()[:1]})
            self._known = bool(rows)
        return [
            AirChange(
                segment=pressures.segment,
                t_s=float(pressures.t_s[row]),
                state=AirState.ON if on[row] else AirState.OFF,
                cylinder_gauge_pa=float(cylinder_pa[row]),
            )
            for row in rows
        ]
