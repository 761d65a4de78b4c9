"""How the calibration stands, in a few words for the foot of the page. Pure."""

from __future__ import annotations

import json

from daq.records import Calibration

DAY_S = 86_400.0


def calibration_body(calibration: Calibration, utc_s: float) -> str:
    """JSON: `id`, and for each thing that can be calibrated whether it was and how many days ago."""
    made_s = {
        "sensors": calibration.supply.made_s if calibration.supply.u_zero_pa is not None else None,
        "pairing": calibration.pairing.made_s if calibration.pairing else None,
        "restrictor": calibration.restrictor.made_s if calibration.restrictor else None,
    }
    ages = {what: None if made is None else max(0, int((utc_s - made) // DAY_S)) for what, made in made_s.items()}
    return json.dumps({"id": calibration.calibration_id, "days": ages})
