"""From the events of the pipeline to the bodies that are stored with them and announced."""

from __future__ import annotations

from dataclasses import fields
from functools import singledispatch
from typing import Any

from daq.procedure import plan_from
from daq.procedure.engine import dashed
from daq.records import (
    AirChange,
    AirState,
    BadLines,
    Board,
    BoardFault,
    Cue,
    CylinderDone,
    CylinderJudged,
    Event,
    Expectation,
    Fault,
    Finding,
    Gap,
    Judged,
    LinkChange,
    Marked,
    MarkKind,
    Restarted,
    Session,
    SoftStep,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TapEffect,
    TestDone,
    TestStarted,
    Withdrawn,
    ZeroCheck,
)
from daq.sinks.payloads import events
from daq.sinks.payloads.models import BoardMessage, Reading, Verdict
from daq.sinks.payloads.stamp import Stamp
from daq.units import G_PER_KG, MM2_PER_M2, PressureUnit

MM_PER_M = 1e3
CM3_PER_M3 = 1e6
L_MIN_PER_M3_S = 60e3
_STREAMS: dict[type[Any], str] = {StableReading: "reading", CylinderJudged: "verdict"}
Content = tuple[type[BoardMessage], dict[str, Any]]


def stream_of(event: Event) -> str | None:
    """`reading`, `verdict` or `event`; None for what is not announced from the outbox. `seq` counts in each
    (boot, stream)."""
    if isinstance(event, Session):
        return None
    return _STREAMS.get(type(event), "event")


def event_body(
    event: Event, *, bench: str, boot: str, seq: int, utc_s: float, unit: PressureUnit
) -> tuple[str, str] | None:
    """(stream, JSON text) of an event that happened at `utc_s`; None as `stream_of`."""
    stream = stream_of(event)
    if stream is None:
        return None
    model, content = _content(event, unit)
    stamp = Stamp(bench, boot, seq, utc_s, event.t_s, event.segment)
    if isinstance(event, StableReading):
        content["id"] = f"{boot}-{seq}"
    return stream, model(**stamp.head(), **content).model_dump_json()


def shown(unit: PressureUnit, **pressures_pa: float) -> dict[str, Any]:
    """`supply_gauge=6.9e5` gives `supply_gauge_shown` in the user's unit; and the UCUM code of that unit."""
    return {f"{name}_shown": pa / unit.pa for name, pa in pressures_pa.items()} | {"shown_unit": unit.ucum}


def board_name(board: Board | None) -> str:
    """Who answered on the line, in one text; empty for nobody."""
    parts = (board.maker, board.model, board.serial, board.firmware) if board else ()
    return " ".join(part for part in parts if part)


@singledispatch
def _content(event: Any, unit: PressureUnit) -> Content:
    raise TypeError(f"no message for {type(event).__name__}")


@_content.register
def _reading(event: StableReading, unit: PressureUnit) -> Content:
    return Reading, {
        "cylinder": event.cylinder,
        "phase": event.phase,
        "loss_pct": event.loss_pct,
        "u_loss_pct": event.u_loss_pct,
        "loss_at_set_pct": event.loss_at_set_pct,
        "reference_loss_pct": event.reference_loss_pct,
        "supply_gauge_pa": event.supply_gauge_pa,
        "cylinder_gauge_pa": event.cylinder_gauge_pa,
        "area_ratio": event.area_ratio,
        "leak_area_mm2": event.leak_area_m2 * MM2_PER_M2,
        "leak_diameter_mm": event.leak_diameter_m * MM_PER_M,
        "flow_g_s": event.flow_kg_s * G_PER_KG,
        "flow_anr_l_min": event.flow_anr_m3_s * L_MIN_PER_M3_S,
        "window_s": event.window_s,
        "expanded_u_loss_pct": event.expanded_u_loss_pct,
        "coverage_factor": event.coverage_factor,
        "degrees_of_freedom": event.degrees_of_freedom,
        "u_leak_area_mm2": event.u_leak_area_m2 * MM2_PER_M2,
        "u_flow_g_s": event.u_flow_kg_s * G_PER_KG,
        "u_reference_loss_pct": event.u_reference_loss_pct,
        "attempt": event.attempt,
        "calibration_id": event.calibration_id,
    } | shown(unit, supply_gauge=event.supply_gauge_pa, cylinder_gauge=event.cylinder_gauge_pa)


@_content.register
def _tap(event: Tap, unit: PressureUnit) -> Content:
    content = {"onset_s": event.onset_s, "depth_pa": event.depth_pa, "recovery_s": event.recovery_s}
    return events.TapEvent, content | shown(unit, depth=event.depth_pa)


@_content.register
def _tap_effect(event: TapEffect, unit: PressureUnit) -> Content:
    names = ("cylinder", "taps", "before_pct", "after_pct", "change_pct", "u_change_pct", "verdict", "probability")
    return events.TapEffectEvent, {name: getattr(event, name) for name in names}


@_content.register
def _expectation(event: Expectation, unit: PressureUnit) -> Content:
    content = {name: getattr(event, name) for name in ("loss_pct", "low_pct", "high_pct")}
    volumes = {"volume_cm3": event.volume_m3 * CM3_PER_M3, "u_volume_cm3": event.u_volume_m3 * CM3_PER_M3}
    return events.ExpectationEvent, content | volumes


@_content.register
def _zero_check(event: ZeroCheck, unit: PressureUnit) -> Content:
    names = ("supply_shift_pa", "cylinder_shift_pa", "adjusted", "reason")
    content = {name: getattr(event, name) for name in names}
    shifts = shown(unit, supply_shift=event.supply_shift_pa, cylinder_shift=event.cylinder_shift_pa)
    return events.ZeroCheckEvent, content | shifts


@_content.register
def _fault(event: Fault, unit: PressureUnit) -> Content:
    kind = "fault-over" if event.over else "fault"
    return events.FaultEvent, {"kind": kind, "fault": event.fault, "seen": event.seen, "todo": event.todo}


@_content.register
def _supply(event: SupplyChange, unit: PressureUnit) -> Content:
    return events.SupplyEvent, {
        "kind": "supply-held" if event.state is SupplyState.HELD else "supply-lost",
        "supply_gauge_pa": event.supply_gauge_pa,
        "set_point_pa": event.set_point_pa,
        "reason": event.reason,
    } | shown(unit, supply_gauge=event.supply_gauge_pa)


@_content.register
def _air(event: AirChange, unit: PressureUnit) -> Content:
    kind = "air-on" if event.state is AirState.ON else "air-off"
    content = {"kind": kind, "cylinder_gauge_pa": event.cylinder_gauge_pa}
    return events.AirEvent, content | shown(unit, cylinder_gauge=event.cylinder_gauge_pa)


@_content.register
def _gap(event: Gap, unit: PressureUnit) -> Content:
    return events.GapEvent, {"missing": event.missing}


@_content.register
def _bad_lines(event: BadLines, unit: PressureUnit) -> Content:
    return events.BadLinesEvent, {
        "rejected": sum(event.counts.values()),
        "reasons": " ".join(f"{reason}={number}" for reason, number in event.counts.items()),
        "evidence": event.evidence.decode("latin-1").encode("unicode_escape").decode("ascii"),
    }


@_content.register
def _restarted(event: Restarted, unit: PressureUnit) -> Content:
    return events.BoardRestartedEvent, {"cause": event.cause, "boot_count": event.boot_count}


@_content.register
def _link(event: LinkChange, unit: PressureUnit) -> Content:
    kind = "link-up" if event.up else "link-down"
    return events.LinkEvent, {"kind": kind, "reason": event.reason, "board": board_name(event.board)}


@_content.register
def _mark(event: Marked, unit: PressureUnit) -> Content:
    """A plan is not repeated: the start of the test tells what matters of it."""
    text = "" if event.kind == MarkKind.START else event.text
    return events.MarkEvent, {"mark": event.kind, "text": text, "source": event.source}


@_content.register
def _board_fault(event: BoardFault, unit: PressureUnit) -> Content:
    return events.BoardFaultEvent, {"fault": event.fault, "detail": event.detail}


@_content.register
def _soft_step(event: SoftStep, unit: PressureUnit) -> Content:
    pressures_pa = {"supply_gauge": event.supply_gauge_pa, "cylinder_gauge": event.cylinder_gauge_pa}
    content = {f"{name}_pa": pa for name, pa in pressures_pa.items()}
    return events.SoftStepEvent, content | shown(unit, **pressures_pa)


@_content.register
def _test_started(event: TestStarted, unit: PressureUnit) -> Content:
    plan = plan_from(event.plan)
    return events.TestStartedEvent, {
        "test": event.test,
        "engine": event.engine,
        "order": dashed(plan.engine.firing_order),
        "temperature": plan.temperature,
        "acknowledged_by": plan.acknowledged,
    }


@_content.register
def _finding(event: Finding, unit: PressureUnit) -> Content:
    names = ("number", "cylinder", "place", "strength", "neighbour", "note")
    return events.FindingEvent, {name: getattr(event, name) for name in names}


@_content.register
def _withdrawn(event: Withdrawn, unit: PressureUnit) -> Content:
    return events.WithdrawnEvent, {name: getattr(event, name) for name in ("what", "cylinder", "number", "reason")}


@_content.register
def _cue(event: Cue, unit: PressureUnit) -> Content:
    content = {name: getattr(event, name) for name in ("cue", "level", "text", "cylinder")}
    return events.CueEvent, content | {"values": "; ".join(f"{name}={value}" for name, value in event.values.items())}


@_content.register
def _cylinder_done(event: CylinderDone, unit: PressureUnit) -> Content:
    after = event.after_tap
    return events.CylinderDoneEvent, {
        "cylinder": event.cylinder,
        "taps": event.taps,
        "as_found_loss_pct": event.as_found.loss_at_set_pct,
        "as_found_u_loss_pct": event.as_found.u_loss_pct,
        "after_tap_loss_pct": after.loss_at_set_pct if after else None,
        "after_tap_u_loss_pct": after.u_loss_pct if after else None,
        "attempt": event.attempt,
    }


@_content.register
def _cylinder_judged(event: CylinderJudged, unit: PressureUnit) -> Content:
    counts = event.counts
    return Verdict, {
        "test": event.test,
        "cylinder": event.cylinder,
        "verdict": counts and counts.verdict,
        "probability": counts and counts.probability,
        **_judged("as_found", event.as_found),
        **_judged("after_tap", event.after_tap),
        "limits": event.limits,
        "sound_to_pct": event.sound_to_pct,
        "investigate_from_pct": event.investigate_from_pct,
    }


def _judged(which: str, found: Judged | None) -> dict[str, Any]:
    return {f"{which}_{each.name}": found and getattr(found, each.name) for each in fields(Judged)}


@_content.register
def _test_done(event: TestDone, unit: PressureUnit) -> Content:
    left = {done.cylinder: (done.after_tap or done.as_found).loss_at_set_pct for done in event.cylinders}
    worst = max(left, key=lambda cylinder: left[cylinder], default=None)
    return events.TestDoneEvent, {
        "engine": event.engine,
        "cylinders": len(event.cylinders),
        "worst_cylinder": worst,
        "worst_loss_pct": left[worst] if worst is not None else None,
        "test": event.test,
        "skipped": " ".join(map(str, event.skipped)),
        "complete": event.complete,
    }
