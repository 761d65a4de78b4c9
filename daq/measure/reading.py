"""Everything that a stable window says of the leak, with what it is worth."""

from __future__ import annotations

import numpy as np

from daq.measure import leakage, orifice, uncertainty
from daq.measure.budget import SETTLING, WINDOW_ALONE, combined, contributions, interval
from daq.measure.calibration import calibrated_instrument
from daq.measure.known_errors import Error, displacements, errors
from daq.measure.stability import StableWindow
from daq.records import Calibration, Floats, Instrument, StableReading


def stable_reading(
    window: StableWindow,
    instrument: Instrument,
    calibration: Calibration,
    at_s: float,
    resolution_pa: float,
    zeroed: bool = False,
) -> StableReading:
    """The reading of a window. `at_s` is the host's time of the link, seconds since 1970: it gives the ages of records.
    `zeroed`: the zero of both channels had been taken off when it was vented.

    `u_loss_pct`, its interval and the budget belong to the loss at the supply as measured, `loss_pct`; carried to the
    set point they change by the factor that the loss changes by, some parts in a thousand within the supply band.
    """
    instrument = calibrated_instrument(instrument, calibration)
    supply_pa, cylinder_pa = window.supply_gauge_pa, window.cylinder_gauge_pa
    noise = (window.u_supply_pa, window.u_cylinder_pa, window.n - 2.0)
    found = errors(supply_pa, cylinder_pa, noise, resolution_pa, calibration, instrument, at_s, zeroed)
    if window.u_settling_pa:
        found = [*found, Error(SETTLING, window.u_settling_pa, "Pa", cylinder=window.u_settling_pa)]
    lines = contributions(found, supply_pa, cylinder_pa, instrument)
    stated = interval(lines)
    loss = float(leakage.loss_pct(supply_pa, cylinder_pa))
    (k, area, flow), (u_k, u_area, u_flow) = _converted(supply_pa, cylinder_pa, instrument, found)
    reference, low, high = leakage.reference_loss_pct(np.array((area, max(area - u_area, 0.0), area + u_area))).tolist()
    return StableReading(
        segment=window.segment,
        t_s=window.t_s,
        window_s=window.window_s,
        supply_gauge_pa=supply_pa,
        cylinder_gauge_pa=cylinder_pa,
        loss_pct=loss,
        u_loss_pct=stated.u_pct,
        loss_at_set_pct=float(leakage.loss_at_set(loss, supply_pa, instrument.set_point_pa, instrument.atmosphere_pa)),
        reference_loss_pct=reference,
        area_ratio=k,
        leak_area_m2=area,
        leak_diameter_m=float(leakage.equivalent_diameter(area)),
        flow_kg_s=flow,
        flow_anr_m3_s=float(leakage.anr_flow(flow)),
        calibration_id=calibration.calibration_id,
        expanded_u_loss_pct=stated.half_width_pct,
        coverage_factor=stated.factor,
        degrees_of_freedom=stated.degrees,
        noise_pct=combined(tuple(line for line in lines if line.component.endswith(WINDOW_ALONE))),
        u_area_ratio=u_k,
        u_leak_area_m2=u_area,
        u_flow_kg_s=u_flow,
        u_reference_loss_pct=0.5 * (high - low),
        budget=lines,
    )


def _converted(
    supply_pa: float, cylinder_pa: float, instrument: Instrument, found: list[Error]
) -> tuple[list[float], list[float]]:
    """Area ratio, leak area m2 and flow kg/s, and their standard uncertainties.

    One flow curve and one gas temperature on both sides are taken for granted: a hot cylinder is not in them.
    """
    part = leakage.restrictor(instrument)
    inputs = np.array(
        (
            supply_pa,
            cylinder_pa,
            instrument.atmosphere_pa,
            instrument.gas_temperature_k,
            1.0,
            part.critical_ratio,
        )
    )

    def quantities(x: Floats) -> Floats:
        supply, cylinder, atmosphere, temperature, part_of_area, critical_ratio = x
        supply_abs, cylinder_abs = supply + atmosphere, cylinder + atmosphere
        area = part.effective_area_m2 * part_of_area
        k = leakage.area_ratio(supply_abs, cylinder_abs, atmosphere, critical_ratio)
        at_reference = orifice.mass_flow(area, supply_abs, cylinder_abs, critical_ratio=critical_ratio)
        return np.stack((k, k * area, at_reference * np.sqrt(orifice.ANR_TEMPERATURE_K / temperature)))

    effects = uncertainty.contributions(quantities, inputs, displacements(found))
    return quantities(inputs[:, None])[:, 0].tolist(), np.sqrt((effects * effects).sum(axis=-1)).tolist()
