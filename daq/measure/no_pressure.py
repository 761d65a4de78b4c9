"""Air that flows and builds up no pressure: the supply holds, and the cylinder side stays empty."""

from __future__ import annotations

from daq.measure.air import OFF_BELOW, ON_ABOVE
from daq.measure.trailing import Switch
from daq.records import Bools, Fault, Instrument, Pressures
from daq.units import both

STAYS_S = 8.0
"""A hose that is moved from one cylinder to the next blows for less than that."""
OVER_S = 0.5
FAULT = "no-pressure"
TODO = (
    "Shut the air. Is the hose on this cylinder, and is it at its own top dead centre, on compression? A valve may "
    "stand open."
)


class NoPressureMonitor:
    """One fault after `STAYS_S`, and its end when pressure builds up or the supply goes. For one segment."""

    def __init__(self, instrument: Instrument) -> None:
        self._set_point_pa = instrument.set_point_pa
        self._switch = Switch(STAYS_S, OVER_S)

    def feed(self, pressures: Pressures, held: Bools) -> list[Fault]:
        cylinder = pressures.cylinder_gauge_pa
        empty = held & (cylinder < OFF_BELOW * self._set_point_pa)
        over = ~held | (cylinder > ON_ABOVE * self._set_point_pa)
        on, changes = self._switch.feed(pressures.t_s, empty, over)
        return [self._fault(pressures, row, bool(on[row])) for row in changes.tolist()]

    def _fault(self, pressures: Pressures, row: int, came: bool) -> Fault:
        supply_pa, cylinder_pa = float(pressures.supply_gauge_pa[row]), float(pressures.cylinder_gauge_pa[row])
        t_s = float(pressures.t_s[row])
        if not came:
            return Fault(pressures.segment, t_s, FAULT, "Pressure builds up, or the air is shut.", "", over=True)
        seen = f"The supply holds {both(supply_pa)}, and the cylinder side stays at {both(cylinder_pa)}."
        return Fault(pressures.segment, t_s, FAULT, seen, TODO)
