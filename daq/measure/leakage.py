"""What two pressures say of a leak behind a restrictor. Gauge pressures in Pa unless the name says `abs`.

In the steady state the restrictor passes what the leak passes, so the area ratio
`k = p1 N(p2/p1) / (p2 N(pa/p2))` follows from the pressures alone (N: `orifice.flow_function`, absolute pressures,
same gas temperature on both sides). While the leak is choked p2/p1 depends on k only, and loss can be carried from
one supply pressure to another exactly. All functions take floats or arrays and broadcast, and give NaN where there is
no meaning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.measure import orifice
from daq.records import Bools, Floats, Instrument, Pressures, Readings
from daq.units import M_PER_INCH, PA_PER_ATM, PA_PER_PSI

NO_SUPPLY = 0.05
"""Below this part of the set point there is no supply to speak of, and no reading."""


@dataclass(frozen=True, slots=True)
class Restrictor:
    effective_area_m2: float
    critical_ratio: float = orifice.CRITICAL_RATIO


PUBLISHED_RESTRICTOR = Restrictor(0.8 * orifice.circle_area(0.040 * M_PER_INCH))
"""AC 43.13-1B, engines below 5 inches of bore: 0.040 inch, 0.250 inch long, 60 degree approach. The publication gives
no discharge coefficient; 0.8 is a convention of this project, so that the comparison has one meaning everywhere."""
PUBLISHED_SUPPLY_PA = 80 * PA_PER_PSI
_STEPS_DOWN = np.arange(1.0, 64.0)


def restrictor(instrument: Instrument) -> Restrictor:
    bore_m2 = orifice.circle_area(instrument.restrictor_diameter_m)
    return Restrictor(instrument.discharge_coefficient * bore_m2, instrument.critical_ratio)


def loss_pct(supply_gauge_pa: Floats | float, cylinder_gauge_pa: Floats | float) -> Floats:
    """100 (1 - p2/p1); noise about zero loss may make it negative. NaN where the supply is not above zero."""
    supply = np.where(np.greater(supply_gauge_pa, 0), supply_gauge_pa, np.nan)
    return 100.0 - 100.0 * cylinder_gauge_pa / supply


def loss_at_set(
    loss: Floats | float, supply_gauge_pa: Floats | float, set_point_pa: float, atmosphere_pa: float
) -> Floats:
    """The loss carried from the supply it was read at to the set point, same restrictor and barometer.

    Exact while the leak is choked (up to about 84 % at 80 psi, 87 % at 100 psi); beyond that a supply within 5 % of
    the set point leaves an error of up to 0.7 point, so that an open end may read 100.7 %.
    """
    return loss * (1 + atmosphere_pa / set_point_pa) / (1 + np.divide(atmosphere_pa, supply_gauge_pa))


def area_ratio(
    supply_abs_pa: Floats | float,
    cylinder_abs_pa: Floats | float,
    atmosphere_pa: float,
    critical_ratio: float = orifice.CRITICAL_RATIO,
) -> Floats:
    """Effective area of the leak over that of the restrictor; 0 where the cylinder side is not below the supply,
    NaN where it is not above the atmosphere (an open end has no area to speak of)."""
    return _supplied(supply_abs_pa, cylinder_abs_pa, critical_ratio) / _drained(cylinder_abs_pa, atmosphere_pa)


def _supplied(supply_abs_pa: Floats | float, cylinder_abs_pa: Floats | float, critical_ratio: float) -> Floats:
    """Flow through the restrictor, over its effective area and the choked flux: a pressure, Pa."""
    return supply_abs_pa * orifice.flow_function(np.divide(cylinder_abs_pa, supply_abs_pa), critical_ratio)


def _drained(cylinder_abs_pa: Floats | float, atmosphere_pa: float) -> Floats:
    """The same of the leak; NaN where the cylinder side is not above the atmosphere."""
    above = np.where(np.greater(cylinder_abs_pa, atmosphere_pa), cylinder_abs_pa, np.nan)
    return above * orifice.flow_function(atmosphere_pa / above)


def loss_from_area_ratio(
    ratio: Floats | float,
    supply_gauge_pa: Floats | float,
    atmosphere_pa: float,
    critical_ratio: float = orifice.CRITICAL_RATIO,
) -> Floats:
    """The loss that a leak of this area ratio reads at this supply, percent: the exact inverse of `area_ratio`.

    The mass balance falls steadily from an open end to equal pressures: each round keeps that
    sixty-fourth of the bracket in which it changes sign.
    """
    ratio, supply = np.broadcast_arrays(np.asarray(ratio, np.float64), np.asarray(supply_gauge_pa, np.float64))
    supply = supply + atmosphere_pa
    high, width = supply, supply - atmosphere_pa
    inflow_pa, leak = supply[..., None], ratio[..., None]
    with np.errstate(invalid="ignore"):  # an endless leak: inf * 0 at the atmosphere itself
        for _ in range(9):
            width = width / 64
            inside = high[..., None] - width[..., None] * _STEPS_DOWN
            leaked = leak * inside * orifice.flow_function(atmosphere_pa / inside)
            rises = _supplied(inflow_pa, inside, critical_ratio) > leaked
            high = high - width * (63 - rises.sum(axis=-1))
    loss = 100 * (supply - high) / (supply - atmosphere_pa)
    return np.where(np.isnan(ratio), np.nan, loss)


def reference_loss_pct(leak_area_m2: Floats | float, atmosphere_pa: float = PA_PER_ATM) -> Floats:
    """What the published restrictor would read of this effective leak area at its 80 psi, percent.

    By default at the standard atmosphere, so that readings of different sites compare.
    """
    k = np.divide(leak_area_m2, PUBLISHED_RESTRICTOR.effective_area_m2)
    return loss_from_area_ratio(k, PUBLISHED_SUPPLY_PA, atmosphere_pa, PUBLISHED_RESTRICTOR.critical_ratio)


def equivalent_diameter(leak_area_m2: Floats | float) -> Floats:
    """Diameter of the round nozzle (discharge coefficient 1) of this effective area, m."""
    return np.sqrt(np.multiply(leak_area_m2, 4 / np.pi))


def anr_flow(flow_kg_s: Floats | float) -> Floats:
    """Volume flow at the reference atmosphere of ISO 8778, m3/s; density `orifice.ANR_DENSITY`."""
    return np.divide(flow_kg_s, orifice.ANR_DENSITY)


def readings(pressures: Pressures, supply_held: Bools, stable: Bools, instrument: Instrument) -> Readings:
    """What the instrument shows, one row a tick. The flow is the restrictor's, so it holds for an open end too."""
    atmosphere, part = instrument.atmosphere_pa, restrictor(instrument)
    supplied = pressures.supply_gauge_pa > NO_SUPPLY * instrument.set_point_pa
    supply = np.where(supplied, pressures.supply_gauge_pa, np.nan)
    loss = loss_pct(supply, pressures.cylinder_gauge_pa)
    cylinder_abs = pressures.cylinder_gauge_pa + atmosphere
    relative_flow = _supplied(supply + atmosphere, cylinder_abs, part.critical_ratio)
    k = relative_flow / _drained(cylinder_abs, atmosphere)
    return Readings(
        segment=pressures.segment,
        t_s=pressures.t_s,
        supply_gauge_pa=pressures.supply_gauge_pa,
        cylinder_gauge_pa=pressures.cylinder_gauge_pa,
        loss_pct=loss,
        loss_at_set_pct=loss_at_set(loss, supply, instrument.set_point_pa, atmosphere),
        leak_area_m2=k * part.effective_area_m2,
        flow_kg_s=relative_flow * (part.effective_area_m2 * orifice.choked_flux(instrument.gas_temperature_k)),
        supply_held=supply_held,
        stable=stable,
        flags=pressures.flags,
    )
