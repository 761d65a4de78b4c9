"""From records to the values of table rows. Pure."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import numpy as np

from daq.records import Calibration, Event, Readings, StableReading
from daq.sinks.event_json import finite, kind_of, plain
from daq.units import G_PER_KG, MM2_PER_M2

MM_PER_M = 1e3
L_MIN_PER_M3_S = 60e3
_LAST_SECOND = 253_402_300_799.0

Row = dict[str, Any]

__all__ = ["Row", "calibration_row", "detail_of", "finite", "kind_of", "reading_rows", "stable_row", "utc_text"]


def utc_text(utc_s: float) -> str:
    """Seconds since 1970 as `2026-01-31T23:59:59.000000Z`; a clock beyond the years 1970 to 9999 is held at its end.

    Ref: RFC 3339. The fixed width makes the text sort by time.
    """
    held_s = min(max(utc_s, 0.0), _LAST_SECOND) if not math.isnan(utc_s) else 0.0
    return datetime.fromtimestamp(held_s, UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def detail_of(event: Event) -> str:
    """The whole event as JSON; what is not finite becomes null."""
    return json.dumps(plain(event), ensure_ascii=False, allow_nan=False)


def reading_rows(readings: Readings, offset_s: float, after_second: int | None) -> Iterator[Row]:
    """The first tick of each whole second of the board's clock, beginning after `after_second`."""
    seconds = np.floor(readings.t_s).astype(np.int64)
    before = np.concatenate([[seconds[0] - 1 if after_second is None else after_second], seconds[:-1]])
    for at in np.flatnonzero(seconds != before):
        yield {
            "segment": readings.segment,
            "t_s": float(readings.t_s[at]),
            "t_utc": utc_text(offset_s + float(readings.t_s[at])),
            "supply_gauge_pa": finite(readings.supply_gauge_pa[at]),
            "cylinder_gauge_pa": finite(readings.cylinder_gauge_pa[at]),
            "loss_pct": finite(readings.loss_pct[at]),
            "loss_at_set_pct": finite(readings.loss_at_set_pct[at]),
            "leak_area_mm2": finite(readings.leak_area_m2[at] * MM2_PER_M2),
            "flow_g_s": finite(readings.flow_kg_s[at] * G_PER_KG),
            "supply_held": int(readings.supply_held[at]),
            "stable": int(readings.stable[at]),
            "flags": int(readings.flags[at]),
        }


def stable_row(reading: StableReading, utc: str, engine: str) -> Row:
    return {
        "segment": reading.segment,
        "t_s": reading.t_s,
        "t_utc": utc,
        "engine": engine,
        "cylinder": reading.cylinder,
        "phase": reading.phase,
        "attempt": reading.attempt,
        "window_s": reading.window_s,
        "supply_gauge_pa": finite(reading.supply_gauge_pa),
        "cylinder_gauge_pa": finite(reading.cylinder_gauge_pa),
        "loss_pct": finite(reading.loss_pct),
        "u_loss_pct": finite(reading.u_loss_pct),
        "loss_at_set_pct": finite(reading.loss_at_set_pct),
        "reference_loss_pct": finite(reading.reference_loss_pct),
        "area_ratio": finite(reading.area_ratio),
        "leak_area_mm2": finite(reading.leak_area_m2 * MM2_PER_M2),
        "leak_diameter_mm": finite(reading.leak_diameter_m * MM_PER_M),
        "flow_g_s": finite(reading.flow_kg_s * G_PER_KG),
        "flow_anr_l_min": finite(reading.flow_anr_m3_s * L_MIN_PER_M3_S),
        "expanded_u_loss_pct": finite(reading.expanded_u_loss_pct),
        "coverage_factor": finite(reading.coverage_factor),
        "degrees_of_freedom": finite(reading.degrees_of_freedom),
        "noise_pct": finite(reading.noise_pct),
        "u_leak_area_mm2": finite(reading.u_leak_area_m2 * MM2_PER_M2),
        "u_flow_g_s": finite(reading.u_flow_kg_s * G_PER_KG),
        "u_reference_loss_pct": finite(reading.u_reference_loss_pct),
        "calibration_id": reading.calibration_id,
    }


def calibration_row(calibration: Calibration) -> Row:
    """Without `stored_utc`."""
    row: Row = {
        "id": calibration.calibration_id,
        "origin": calibration.origin,
        "date": calibration.date,
        "reference_v": calibration.reference_v,
    }
    for name, channel in (("supply", calibration.supply), ("cylinder", calibration.cylinder)):
        row |= {
            f"{name}_{key}": getattr(channel, key) for key in ("zero_v", "pa_per_v", "full_scale_pa", "accuracy_pa")
        }
    return row | {"content": json.dumps(plain(calibration), allow_nan=False)}
