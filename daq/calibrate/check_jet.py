"""A known jet at the outlet tells whether the restrictor is still what it was calibrated to be."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from daq.calibrate.jets import JetPoint, flows, refuse_no_flow
from daq.measure import leakage, orifice
from daq.records import Instrument

_STEP = 1e-4


class JetVerdict(StrEnum):
    AS_CALIBRATED = "as-calibrated"
    SMALLER = "smaller"
    LARGER = "larger"


@dataclass(frozen=True, slots=True)
class JetCheck:
    """`area_change` of the restrictor is relative; `reads_10_as_pct` is what a true 10 % reads by it now."""

    expected_pct: float
    measured_pct: float
    area_change: float
    u_area_change: float
    diameter_change: float
    reads_10_as_pct: float
    verdict: JetVerdict
    advice: str


ADVICE = {
    JetVerdict.AS_CALIBRATED: "The restrictor is as it was calibrated. Nothing to do.",
    JetVerdict.SMALLER: "The restrictor passes less than it did: it is fouled, or its feed is throttled. Clean it with "
    "solvent and air, never with a wire, check the filter, and check again. If it stays so, calibrate it anew.",
    JetVerdict.LARGER: "The restrictor seems to pass more than it did. Is this the right jet, and is it clean? If so, "
    "the restrictor is worn or leaks round its seat: replace it, and calibrate the new one.",
}


def check_jet(
    point: JetPoint, instrument: Instrument, part: leakage.Restrictor, u_loss_pct: float, u_jet: float
) -> JetCheck:
    """Compares what a known jet reads with what it should behind `part`. `u_jet`: relative, all of the jet's area that
    is not common with the calibration of the restrictor. A change counts from twice its standard uncertainty on."""
    refuse_no_flow([point])
    atmosphere = instrument.atmosphere_pa
    (ratio,), (flow,) = flows([point], instrument)
    passed = float(flow) / float(orifice.flow_function(float(ratio), part.critical_ratio))
    change = passed / part.effective_area_m2 - 1
    jet_ratio = point.jet.area_m2 / part.effective_area_m2
    expected = float(leakage.loss_from_area_ratio(jet_ratio, point.supply_pa, atmosphere, part.critical_ratio))
    slope = _relative_slope(jet_ratio, point.supply_pa, instrument, part)
    u_change = math.hypot(u_jet, u_loss_pct / slope)
    verdict = JetVerdict.AS_CALIBRATED
    if abs(change) > 2 * u_change:
        verdict = JetVerdict.SMALLER if change < 0 else JetVerdict.LARGER
    return JetCheck(
        expected, point.loss_pct, change, u_change, math.sqrt(1 + change) - 1,
        reading_of(10.0, 1 + change, instrument, part.critical_ratio), verdict, ADVICE[verdict],
    )  # fmt: skip


def reading_of(loss: float, area_scale: float, instrument: Instrument, critical_ratio: float) -> float:
    """What a true loss at the set point reads when the restrictor's area is `area_scale` of what it is taken for."""
    supply, atmosphere = instrument.set_point_pa, instrument.atmosphere_pa
    supply_abs = supply + atmosphere
    true = leakage.area_ratio(supply_abs, supply * (1 - loss / 100) + atmosphere, atmosphere, critical_ratio)
    return float(leakage.loss_from_area_ratio(true / area_scale, supply, atmosphere, critical_ratio))


def _relative_slope(jet_ratio: float, supply_pa: float, instrument: Instrument, part: leakage.Restrictor) -> float:
    """Points of loss for a relative change of the jet's area."""
    at = jet_ratio * np.array([1 - _STEP, 1 + _STEP])
    low, high = leakage.loss_from_area_ratio(at, supply_pa, instrument.atmosphere_pa, part.critical_ratio)
    return float(high - low) / (2 * _STEP)
