"""Whether the supply stands at its set point: in the band and not moving, with hysteresis and dwell."""

from __future__ import annotations

import numpy as np

from daq.measure.leakage import NO_SUPPLY
from daq.measure.trailing import Switch, Trailing
from daq.records import Bools, Floats, Instrument, Pressures, SupplyChange, SupplyState

RISE_S = 0.5
FALL_S = 0.5
_LEAVE_BAND = 1.2
_ENTER_PER_S, _LEAVE_PER_S = 0.02, 0.05  # of the set point
_SLOPE_ROWS = 11


class SupplyMonitor:
    """`held` after `RISE_S` within the band at less than 2 % of the set point a second; lost after `FALL_S` outside
    1.2 times the band, or moving by more than 5 % a second."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._trailing = Trailing(2, _SLOPE_ROWS)
        self._switch = Switch(RISE_S, FALL_S)

    def feed(self, pressures: Pressures) -> tuple[Bools, list[SupplyChange]]:
        """Held or not for each row, shape (n,), and the changes among them. A new segment begins not held."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        set_point, band = self._instrument.set_point_pa, self._instrument.supply_band_pa
        supply = pressures.supply_gauge_pa
        off_by = np.abs(supply - set_point)
        moving = np.abs(self._slope(pressures.t_s, supply)) / set_point
        up = (off_by <= band) & (moving <= _ENTER_PER_S)
        down = ~(off_by <= _LEAVE_BAND * band) | (moving > _LEAVE_PER_S)
        held, changes = self._switch.feed(pressures.t_s, up, down)
        return held, [self._change(pressures, int(row), bool(held[row])) for row in changes]

    def _slope(self, t_s: Floats, supply_pa: Floats) -> Floats:
        """Pa/s over the last half second (in ticks); NaN while there is no such past."""
        t_s, supply_pa = self._trailing.feed(t_s, supply_pa)
        back = _SLOPE_ROWS - 1
        return (supply_pa[back:] - supply_pa[:-back]) / (t_s[back:] - t_s[:-back])

    def _change(self, pressures: Pressures, row: int, held: bool) -> SupplyChange:
        supply_pa = float(np.nan_to_num(pressures.supply_gauge_pa[row]))  # unknown while the sensors have no supply
        return SupplyChange(
            segment=pressures.segment,
            t_s=float(pressures.t_s[row]),
            state=SupplyState.HELD if held else SupplyState.LOST,
            supply_gauge_pa=supply_pa,
            set_point_pa=self._instrument.set_point_pa,
            reason="in band and steady" if held else self._reason(supply_pa),
        )

    def _reason(self, supply_pa: float) -> str:
        set_point, band = self._instrument.set_point_pa, self._instrument.supply_band_pa
        if supply_pa <= NO_SUPPLY * set_point:
            return "off"
        if supply_pa < set_point - band:
            return "droop below the band"
        if supply_pa > set_point + band:
            return "above the band"
        return "moving"
