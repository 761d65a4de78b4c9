"""How slowly what is left of a fill may die away: the longest time constant that the volume and the leak allow.

Air that is let into a cylinder is warmed by being compressed, and gives its heat to the walls and to the air that
flows through. That takes about M cp / (hA + m cp), the energy balance of an open volume (M = p V / (R T), flow m):
0.3 s on a small cylinder that leaks, 4 s on a large tight one. What hA is nobody knows; `LEAST_W_PER_K` is that of air
at rest at 8 bar on 0.015 m2 of metal (7 W/(m2 K), value from memory). The volume is seen in the fill:
V = 1.4 R T (m_in - m_out) / (dp/dt), the energy balance without heat; heat, and a valve that is not yet open, make it
look larger, so the fastest rise counts.
"""

from __future__ import annotations

import numpy as np

from daq.measure import leakage, orifice
from daq.measure.air import OFF_BELOW
from daq.measure.trailing import Switch, Trailing
from daq.records import Bools, Floats, Instrument, Pressures

LEAST_W_PER_K = 0.1
SMALLEST_M3, LARGEST_M3 = 25e-6, 250e-6
"""Of cylinder and hose. The largest is taken while none was seen to fill from empty."""
_CP = orifice.GAS_CONSTANT * orifice.GAMMA / (orifice.GAMMA - 1)
_TICKS = 3
"""A rise is measured over so many ticks."""
_RISE_PER_S = 0.25
"""Parts of the set point a second that make a fill; noise and a hand on the hose make less than half of it."""
_REST_S = 0.4
"""So long a cylinder rests empty before a fill: a tap that empties it leaves cold air, which fills by being warmed."""
_PAIRING = 0.003
"""Part of the set point by which the loss may be less than it looks: less air flows through then."""


class CreepMonitor:
    """For each row the longest time constant of what may still be settling. A cylinder that rests empty begins anew."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument, self._restrictor = instrument, leakage.restrictor(instrument)
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._before = Trailing(3, _TICKS + 1)
        self._rest = Switch(_REST_S, 0.0)
        self._fill, self._filling = _NONE_SEEN, False

    def feed(self, pressures: Pressures) -> Floats:
        """Seconds, shape (n,); NaN where a pressure is unknown or below vacuum."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        set_point_pa, atmosphere_pa = self._instrument.set_point_pa, self._instrument.atmosphere_pa
        gauge_pa = np.stack((pressures.supply_gauge_pa, pressures.cylinder_gauge_pa))
        supply_pa, cylinder_pa = np.where(gauge_pa > -atmosphere_pa, gauge_pa + atmosphere_pa, np.nan)
        more_pa = _PAIRING * set_point_pa
        about_pa = np.minimum(cylinder_pa, supply_pa - more_pa)
        at_pa = np.stack((cylinder_pa, about_pa + more_pa, about_pa - more_pa))
        into, flow, most_flow = self._flow(supply_pa, at_pa)
        throttled = (most_flow - flow) * cylinder_pa / (2 * more_pa)
        joined = self._before.feed(pressures.t_s, cylinder_pa, into)
        empty = pressures.cylinder_gauge_pa < OFF_BELOW * set_point_pa
        at_rest, _ = self._rest.feed(pressures.t_s, empty, ~empty)
        volume_m3 = np.clip(self._volumes(joined, at_rest, flow / cylinder_pa), SMALLEST_M3, LARGEST_M3)
        mass_kg = cylinder_pa * volume_m3 / (orifice.GAS_CONSTANT * self._instrument.gas_temperature_k)
        return slowest_s(mass_kg, flow, throttled)

    def _flow(self, supply_pa: Floats, cylinder_pa: Floats) -> Floats:
        """Through the restrictor, kg/s."""
        part = self._restrictor
        flow: Floats = orifice.mass_flow(
            part.effective_area_m2, supply_pa, cylinder_pa, self._instrument.gas_temperature_k, part.critical_ratio
        )
        return flow

    def _volumes(self, joined: Floats, at_rest: Bools, leak: Floats) -> Floats:
        """The volume by the fastest rise of the fill up to each new row, m3, shape (n,), if so much leaks, kg/(s Pa).

        Fastest for what flows in: early in the fill, so that a leak that changes later hardly matters. A fill begins
        with a cylinder at rest and ends with the first fall: what rises after a tap is cooled air that is warmed.
        """
        fed, lost, per_s = self._rises(joined)
        rising, falling = per_s > _RISE_PER_S, per_s < -_RISE_PER_S
        volumes, begin = np.empty(len(at_rest)), 0
        for row in np.flatnonzero(at_rest | rising | falling).tolist():
            self._filling = bool(at_rest[row]) or (self._filling and not falling[row])
            fill = _NONE_SEEN if at_rest[row] else self._fill
            if self._filling and rising[row]:
                fill = min(fill, (float(fed[row]), float(lost[row])))
            if fill != self._fill:
                volumes[begin:row] = self._fill[0] - self._fill[1] * leak[begin:row]
                begin, self._fill = row, fill
        volumes[begin:] = self._fill[0] - self._fill[1] * leak[begin:]
        return volumes

    def _rises(self, joined: Floats) -> tuple[Floats, Floats, Floats]:
        """Each rise that ends at a new row: its volume, in the parts of `Rise`, and parts of the set point a second."""
        t_s, cylinder_pa, flow = joined
        span_s, rise_pa = t_s[_TICKS:] - t_s[:-_TICKS], cylinder_pa[_TICKS:] - cylinder_pa[:-_TICKS]
        per_s = rise_pa / (span_s * self._instrument.set_point_pa)
        each_kg_m3 = orifice.GAMMA * orifice.GAS_CONSTANT * self._instrument.gas_temperature_k * span_s
        scale = each_kg_m3 / np.where(rise_pa > 0, rise_pa, np.nan)
        return scale * _mean(flow), scale * _mean(cylinder_pa), per_s


def slowest_s(mass_kg: Floats, flow: Floats, throttled: Floats, wall_w_per_k: float = LEAST_W_PER_K) -> Floats:
    """The slow one of both time constants of pressure and temperature, of air that flows through: `flow` in and out,
    kg/s, the inflow less by `throttled` for each part of pressure more, the outflow choked.

    With x = dp/p, y = dT/T, a = flow / mass, b = hA / (cp mass), g = a + throttled / mass (mass and energy balance):
    x' = -1.4 (g x + (a/2 + b) y) and y' = x' + g x - (a/2) y. Where the inflow reacts at once it is 1 / (a + b).
    """
    a, b = flow / mass_kg, wall_w_per_k / (_CP * mass_kg)
    g = a + throttled / mass_kg
    trace, det = orifice.GAMMA * (g + 0.5 * a + b) + 0.5 * a, orifice.GAMMA * g * (a + b)
    slowest: Floats = (trace + np.sqrt(np.maximum(trace * trace - 4 * det, 0.0))) / (2 * det)
    return slowest


Rise = tuple[float, float]
"""The volume if nothing leaked, m3, and what to take off it for each kg/(s Pa) of leak."""
_NONE_SEEN: Rise = (np.inf, 0.0)


def _mean(column: Floats) -> Floats:
    """Over the ticks of each rise, first and last included."""
    return 0.25 * ((column[3:] + column[:-3]) + (column[2:-1] + column[1:-2]))
