"""A limit stated for one restrictor and supply, as another restrictor at another supply reads it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from daq.errors import UsageError
from daq.measure import leakage, orifice
from daq.measure.calibration import calibrated_instrument
from daq.records import Calibration, Floats, Instrument, Limit


def carried(limit: Limit, instrument: Instrument, calibration: Calibration) -> Limit:
    """The loss that this instrument reads at its set point of the leak that reads the limit where it is stated.

    Through the area ratio, exactly, at the instrument's own barometer: the stated tester would stand on the same site.
    Assumed coefficients are conventions on both sides and make nothing uncertain; a calibrated restrictor does.
    Raises UsageError for a limit that no leak reads.
    """
    if not 0 <= limit.loss_pct < 100:
        raise UsageError(
            "A limit must be a loss of 0 to less than 100 %.",
            "Write it in percent of the gauge pressure of the supply.",
            f"{limit.name}: {limit.loss_pct} %",
        )
    instrument = calibrated_instrument(instrument, calibration)
    own, atmosphere_pa = leakage.restrictor(instrument), instrument.atmosphere_pa
    at_limit_pa = limit.set_point_pa * (1 - limit.loss_pct / 100)
    k = leakage.area_ratio(limit.set_point_pa + atmosphere_pa, at_limit_pa + atmosphere_pa, atmosphere_pa)
    leak_m2 = k * limit.discharge_coefficient * orifice.circle_area(limit.restrictor_diameter_m)

    def read(own_m2: Floats) -> Floats:
        return leakage.loss_from_area_ratio(
            leak_m2 / own_m2, instrument.set_point_pa, atmosphere_pa, own.critical_ratio
        )

    u = _relative_u(calibration)
    loss, wide, narrow = read(own.effective_area_m2 * np.array((1.0, 1 + u, 1 - u))).tolist()
    return replace(
        limit,
        loss_pct=loss,
        restrictor_diameter_m=instrument.restrictor_diameter_m,
        discharge_coefficient=instrument.discharge_coefficient,
        set_point_pa=instrument.set_point_pa,
        u_loss_pct=0.5 * (narrow - wide),
    )


def _relative_u(calibration: Calibration) -> float:
    found = calibration.restrictor
    return found.u_conductance_m3_s_pa / found.conductance_m3_s_pa if found else 0.0
