"""Records as the commands make them, for tests of what keeps and shows them."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from daq.calibrate.jets import JetPoint, jet_of_diameter
from daq.calibrate.pairing import pair
from daq.calibrate.plateaus import Plateau
from daq.calibrate.restrictor import calibrate_restrictor
from daq.calibrate.transducer import calibrate_channel
from daq.calibration_files import Gauge, Made, PairingRecord, RestrictorRecord, TransducersRecord, lines_id
from daq.measure import leakage
from daq.records import Calibration, Instrument

PSI = 6894.757293168361
INSTRUMENT = Instrument(0.001016, 0.8, 0.5283, 101_325.0, 293.15, 100 * PSI, 2 * PSI)
LEVELS_PSI = np.array([0.0, 30, 60, 90, 120, 150, 120, 90, 60, 30, 0])


def made(at: str, **more: object) -> Made:
    utc = datetime.fromisoformat(at)
    values = {"by": "the owner", "software": "boretight test", "board": "board 7", "ambient_c": 21.0} | more
    return Made(utc=utc, due_utc=utc + timedelta(days=365), **values)  # type: ignore[arg-type]


def transducers(sheets: Calibration, at: str = "2026-03-01T10:00:00Z", zero_v: float = 0.51) -> TransducersRecord:
    """Both with a little hysteresis, the cylinder's zero a little higher."""
    when = made(at)
    lag = np.where(np.arange(11) > 5, 0.002, 0.0) * (LEVELS_PSI < 150)
    supply_v = zero_v + LEVELS_PSI * 4.01 / 150 + lag
    cylinder_v = supply_v + 0.005
    reference_pa = LEVELS_PSI * PSI
    results = [
        calibrate_channel(name, reference_pa, volts, sheet, 0.1 * PSI, when.utc.timestamp())
        for name, volts, sheet in (("supply", supply_v, sheets.supply), ("cylinder", cylinder_v, sheets.cylinder))
    ]
    return TransducersRecord(
        made=when, gauge=Gauge(name="gauge 3, 0 to 200 psi", u_pa=0.1 * PSI), reference_v=5.0,
        reference_pa=tuple(reference_pa), supply_v=tuple(supply_v), cylinder_v=tuple(cylinder_v),
        supply=results[0], cylinder=results[1],
    )  # fmt: skip


def pairing(lines: Calibration, at: str = "2026-03-02T10:00:00Z", offset_psi: float = 0.4) -> PairingRecord:
    when = made(at)
    plateaus = [Plateau(n, p * PSI, (p * 1.002 + offset_psi) * PSI, 9.0) for n, p in enumerate((20.0, 60.0, 100.0))]
    result = pair(plateaus, lines, 100 * PSI, when.utc.timestamp())
    return PairingRecord(
        made=when, lines_id=lines_id(lines), set_point_pa=100 * PSI, result=result, before_pct=1.14, after_pct=0.17
    )


def restrictor(at: str = "2026-03-03T10:00:00Z") -> RestrictorRecord:
    when = made(at)
    points = []
    for diameter_m in (0.0006, 0.0009, 0.0012, 0.0016, 0.0024):
        jet = jet_of_diameter(diameter_m, 0.8)
        loss = float(leakage.loss_from_area_ratio(jet.area_m2 / 0.66e-6, 100 * PSI, 101_325.0, 0.5))
        points.append(JetPoint(jet, 100 * PSI, 100 * PSI * (1 - loss / 100)))
    return RestrictorRecord(
        made=when, restrictor_diameter_m=0.001016, atmosphere_pa=101_325.0, u_shared=0.02, calibration_id="abc",
        result=calibrate_restrictor(points, INSTRUMENT, when.utc.timestamp(), 0.07),
    )  # fmt: skip
