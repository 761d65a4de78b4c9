"""Readings as one instrument would have taken them at its set point, so that cylinders can be compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from daq.measure import leakage
from daq.procedure.spread import TWO_SIDED
from daq.records import Instrument, StableReading

SAME_RESTRICTOR = 0.15
"""Effective areas that differ by less are one restrictor, calibrated or assumed; the next drill is 20 % larger."""


class Carried(StrEnum):
    """What had to be done to a reading; the value is the public word."""

    OTHER_SUPPLY = "other-supply"
    OTHER_RESTRICTOR = "other-restrictor"


@dataclass(frozen=True, slots=True)
class Taken:
    """`reading.loss_at_set_pct` and its uncertainties are those at the set point of the instrument; `scale` is what
    the errors of its budget have been multiplied by."""

    reading: StableReading
    scale: float = 1.0
    carried: Carried | None = None


def taken(reading: StableReading, instrument: Instrument) -> Taken:
    """A reading of this restrictor within the supply band stays as it is; any other is carried, and says so."""
    if _other_restrictor(reading, instrument):
        return _by_leak_area(reading, instrument)
    if abs(reading.supply_gauge_pa - instrument.set_point_pa) <= instrument.supply_band_pa:
        return Taken(reading)
    return _by_supply(reading, instrument)


def _other_restrictor(reading: StableReading, instrument: Instrument) -> bool:
    """The restrictor of a reading is its leak's area over its area ratio; unknown where nothing leaks."""
    if not (reading.area_ratio > 0 and reading.leak_area_m2 > 0):
        return False
    own_m2 = leakage.restrictor(instrument).effective_area_m2
    return abs(reading.leak_area_m2 / reading.area_ratio / own_m2 - 1) > SAME_RESTRICTOR


def _by_supply(reading: StableReading, instrument: Instrument) -> Taken:
    """Exact while the leak is choked; see `leakage.loss_at_set`."""
    factor = float(leakage.loss_at_set(1.0, reading.supply_gauge_pa, instrument.set_point_pa, instrument.atmosphere_pa))
    at_set = replace(
        reading,
        loss_at_set_pct=reading.loss_pct * factor,
        u_loss_pct=reading.u_loss_pct * factor,
        expanded_u_loss_pct=reading.expanded_u_loss_pct * factor,
    )
    return Taken(at_set, factor, Carried.OTHER_SUPPLY)


def _by_leak_area(reading: StableReading, instrument: Instrument) -> Taken:
    """Through the area of the leak and all of its uncertainty, of which nothing is taken as shared."""
    own, area, u = leakage.restrictor(instrument), reading.leak_area_m2, reading.u_leak_area_m2
    ratios = np.array((area, area + u, max(area - u, 0.0))) / own.effective_area_m2
    loss, high, low = leakage.loss_from_area_ratio(
        ratios, instrument.set_point_pa, instrument.atmosphere_pa, own.critical_ratio
    ).tolist()
    u_loss = 0.5 * (high - low)
    at_set = replace(
        reading, loss_at_set_pct=loss, u_loss_pct=u_loss, expanded_u_loss_pct=TWO_SIDED * u_loss, budget=()
    )
    return Taken(at_set, 1.0, Carried.OTHER_RESTRICTOR)
