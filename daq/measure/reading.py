"""Everything that a stable window says of the leak."""

from __future__ import annotations

import math

from daq.measure import leakage, orifice, uncertainty
from daq.measure.stability import StableWindow
from daq.records import Calibration, Instrument, StableReading


def stable_reading(window: StableWindow, instrument: Instrument, calibration: Calibration) -> StableReading:
    """Everything that a stable window says of the leak, with the standard uncertainty of the loss.

    Class limits of both sensors (rectangular, uncorrelated until they are paired) and the noise of both means.
    """
    supply_pa, cylinder_pa = window.supply_gauge_pa, window.cylinder_gauge_pa
    atmosphere_pa, part = instrument.atmosphere_pa, leakage.restrictor(instrument)
    loss = float(leakage.loss_pct(supply_pa, cylinder_pa))
    supply_abs, cylinder_abs = supply_pa + atmosphere_pa, cylinder_pa + atmosphere_pa
    k = float(leakage.area_ratio(supply_abs, cylinder_abs, atmosphere_pa, part.critical_ratio))
    leak_area_m2 = k * part.effective_area_m2
    flow = float(
        orifice.mass_flow(
            part.effective_area_m2, supply_abs, cylinder_abs, instrument.gas_temperature_k, part.critical_ratio
        )
    )
    u_supply_pa = math.hypot(uncertainty.rectangular(calibration.supply.accuracy_pa), window.u_supply_pa)
    u_cylinder_pa = math.hypot(uncertainty.rectangular(calibration.cylinder.accuracy_pa), window.u_cylinder_pa)
    return StableReading(
        segment=window.segment,
        t_s=window.t_s,
        window_s=window.window_s,
        supply_gauge_pa=supply_pa,
        cylinder_gauge_pa=cylinder_pa,
        loss_pct=loss,
        u_loss_pct=uncertainty.u_loss_pct(supply_pa, cylinder_pa, u_supply_pa, u_cylinder_pa),
        loss_at_set_pct=float(leakage.loss_at_set(loss, supply_pa, instrument.set_point_pa, atmosphere_pa)),
        reference_loss_pct=float(leakage.reference_loss_pct(leak_area_m2)),
        area_ratio=k,
        leak_area_m2=leak_area_m2,
        leak_diameter_m=float(leakage.equivalent_diameter(leak_area_m2)),
        flow_kg_s=flow,
        flow_anr_m3_s=float(leakage.anr_flow(flow)),
        calibration_id=calibration.calibration_id,
    )
