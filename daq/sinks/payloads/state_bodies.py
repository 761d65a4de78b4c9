"""The bodies of what is, rather than of what happened: live, session, status, describe, reply."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from daq.procedure.engine import dashed
from daq.records import Board, Calibration, Instrument, Readings
from daq.records import Session as SessionRecord
from daq.sinks.payloads.event_bodies import MM_PER_M, board_name, shown
from daq.sinks.payloads.models import Describe, Live, Reply, Session, Status
from daq.sinks.payloads.stamp import Stamp
from daq.sinks.topics import LIVE_MOST_PER_S, LIVE_TTL_S, STATUS_EACH_S
from daq.units import G_PER_KG, MM2_PER_M2, PressureUnit

SCHEMA_ID = "urn:boretight:mqtt:v1"
STALE_AFTER_S = 2.0
TICK_S = 0.05


@dataclass(frozen=True, slots=True)
class StatusFields:
    """What the daemon knows of its own health; the fields of `status` that it fills in."""

    line: Literal["up", "down", "searching"] = "searching"
    line_detail: str = ""
    faults: tuple[str, ...] = ()
    newest_sample_age_s: float | None = None
    samples: int = 0
    missing_samples: int = 0
    bad_lines: int = 0
    board_restarts: int = 0
    dropped_records: int = 0
    queue_depth: int = 0
    outbox_depth: int = 0
    disk_free_bytes: int | None = None
    database_bytes: int | None = None

    @property
    def news(self) -> tuple[object, ...]:
        """What must be told at once when it changes; counters that merely count can wait."""
        age_s = self.newest_sample_age_s
        stale = age_s is None or age_s > STALE_AFTER_S
        losses = (self.missing_samples, self.bad_lines, self.board_restarts, self.dropped_records)
        return (self.line, self.line_detail, self.faults, stale, losses)


@dataclass(frozen=True, slots=True)
class BenchDescription:
    """What does not change while the daemon runs."""

    instrument: Instrument
    calibration: Calibration
    unit: PressureUnit
    software: str


def live_body(rows: Readings, session: SessionRecord | None, stamp: Stamp, unit: PressureUnit) -> str:
    """The last row of `rows`, which must have one; `stamp` carries its segment and time."""
    supply_pa, cylinder_pa = float(rows.supply_gauge_pa[-1]), float(rows.cylinder_gauge_pa[-1])
    return Live(
        **stamp.head(),
        supply_gauge_pa=supply_pa,
        cylinder_gauge_pa=cylinder_pa,
        loss_pct=rows.loss_pct[-1],
        loss_at_set_pct=rows.loss_at_set_pct[-1],
        leak_area_mm2=rows.leak_area_m2[-1] * MM2_PER_M2,
        flow_g_s=rows.flow_kg_s[-1] * G_PER_KG,
        supply_held=bool(rows.supply_held[-1]),
        stable=bool(rows.stable[-1]),
        flags=int(rows.flags[-1]),
        cylinder=session.cylinder if session else None,
        phase=session.phase if session else "",
        ttl_s=LIVE_TTL_S,
        **shown(unit, supply_gauge=supply_pa, cylinder_gauge=cylinder_pa),
    ).model_dump_json()


def session_body(session: SessionRecord, stamp: Stamp) -> str:
    return Session(
        **stamp.head(),
        engine=session.engine,
        cylinder=session.cylinder,
        phase=session.phase,
        next_cylinder=session.next_cylinder,
        test=session.test,
        done=" ".join(map(str, session.done)),
        skipped=" ".join(map(str, session.skipped)),
        order=dashed(session.order),
        can_undo=session.can_undo,
    ).model_dump_json()


def status_body(fields: StatusFields, reconnects: int, stamp: Stamp) -> str:
    content = asdict(fields) | {"faults": " ".join(fields.faults), "reconnects": reconnects}
    return Status(**stamp.head(), **content).model_dump_json()


def describe_body(bench: BenchDescription, board: Board | None, stamp: Stamp) -> str:
    return Describe(
        **stamp.head(),
        schema_id=SCHEMA_ID,
        software=bench.software,
        live_most_per_s=LIVE_MOST_PER_S,
        live_ttl_s=LIVE_TTL_S,
        status_each_s=STATUS_EACH_S,
        tick_s=TICK_S,
        shown_unit=bench.unit.ucum,
        **_of_board(board),
        **_of_instrument(bench.instrument),
        **_of_calibration(bench.calibration),
    ).model_dump_json()


def reply_body(
    command_id: str | None,
    verb: str,
    status: Literal["accepted", "expired", "refused", "invalid"],
    reason: str,
    stamp: Stamp,
) -> str:
    return Reply(**stamp.head(), id=command_id, verb=verb, status=status, reason=reason).model_dump_json()


def _of_board(board: Board | None) -> dict[str, Any]:
    return {
        "board": board_name(board),
        "line_format": board.line_format if board else None,
        "adc_bits": board.bits if board else None,
        "reference_mode": board.reference_mode if board else None,
        "rate_hz": board.rate_hz if board else None,
    }


def _of_instrument(instrument: Instrument) -> dict[str, Any]:
    return {
        "set_point_pa": instrument.set_point_pa,
        "supply_band_pa": instrument.supply_band_pa,
        "atmosphere_pa": instrument.atmosphere_pa,
        "gas_temperature_k": instrument.gas_temperature_k,
        "restrictor_diameter_mm": instrument.restrictor_diameter_m * MM_PER_M,
        "discharge_coefficient": instrument.discharge_coefficient,
        "critical_ratio": instrument.critical_ratio,
        "assumed": " ".join(instrument.assumed),
    }


def _of_calibration(calibration: Calibration) -> dict[str, Any]:
    return {
        "calibration_id": calibration.calibration_id,
        "calibration_origin": calibration.origin,
        "calibration_date": calibration.date,
        "supply_full_scale_pa": calibration.supply.full_scale_pa,
        "cylinder_full_scale_pa": calibration.cylinder.full_scale_pa,
        "supply_accuracy_pa": calibration.supply.accuracy_pa,
        "cylinder_accuracy_pa": calibration.cylinder.accuracy_pa,
    }
