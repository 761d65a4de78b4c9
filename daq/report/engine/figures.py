"""The figures of a report for a program: one JSON document, or a table of cylinders as CSV. SI but for percent."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from daq.procedure.judgements import CylinderJudgement
from daq.records import CylinderDone, Limit, StableReading
from daq.report.engine.judged import Judged, at_set
from daq.report.test_record import Attempt, StoredFinding
from daq.sinks.event_json import plain

SCHEMA_VERSION = 1


def as_json(test: Judged) -> dict[str, Any]:
    """What is not known is null; times are RFC 3339 in UTC. Attempts that do not count stand beside those that do."""
    record, judgement = test.record, test.judgement
    instrument: dict[str, Any] = plain(record.instrument)
    return {
        "schema_version": SCHEMA_VERSION,
        "test": record.name,
        "bench": record.bench,
        "software": record.software,
        "started_utc": record.started_utc.isoformat(),
        "ended_utc": record.ended_utc.isoformat() if record.ended_utc else None,
        "complete": record.complete,
        "skipped": list(record.skipped),
        "engine": {**plain(record.profile), "cannot_judge": list(record.profile.cannot_judge)},
        "temperature": record.plan.temperature.value,
        "about": {key: value for key, value in record.plan.about.items() if key != "profile"},
        "cautions_acknowledged_by": record.acknowledged or None,
        "instrument": instrument,
        "calibration": plain(record.calibration) if record.calibration else None,
        "limits": {"name": test.limits.name, "stated": _limits(test, True), "here": _limits(test, False)},
        "verdict": judgement.facts.verdict.value if judgement else None,
        "probability": judgement.facts.probability if judgement else None,
        "action": judgement.action.value if judgement else None,
        "advice": judgement.advice if judgement else None,
        "notes": list(judgement.notes) if judgement else [],
        "cylinders": list(rows(test)),
        "attempts": [_attempt(each) for each in record.attempts],
        "broken_off": plain(record.broken_off),
        "findings": [_finding(each) for each in record.findings],
    }


def as_csv(test: Judged) -> str:
    """A header and one row a cylinder, in the order of their numbers. Ref: RFC 4180."""
    found = list(rows(test))
    out = io.StringIO()
    writer = csv.DictWriter(out, list(found[0]))
    writer.writeheader()
    writer.writerows(found)
    return out.getvalue()


def rows(test: Judged) -> Iterator[dict[str, Any]]:
    """Every cylinder of the engine, flat; those not tested have a row without figures."""
    for number in sorted(test.record.profile.firing_order):
        yield _row(test, number)


def _row(test: Judged, cylinder: int) -> dict[str, Any]:
    done, judged = test.counting.get(cylinder), test.judgement_of(cylinder)
    found = {"cylinder": cylinder, "tested": done is not None, "skipped": cylinder in test.record.skipped}
    return found | _losses(done, test) | _judgement(judged) | _compared(done)


def _losses(done: CylinderDone | None, test: Judged) -> dict[str, Any]:
    found: dict[str, Any] = {"attempt": done.attempt if done else None, "taps": done.taps if done else None}
    for name in ("as_found", "after_tap"):
        reading: StableReading | None = getattr(done, name) if done else None
        loss, u = at_set(reading, test.record.instrument) if reading else (None, None)
        found |= {f"{name}_loss_at_set_pct": loss, f"{name}_expanded_u_loss_pct": u}
    return found


def _judgement(judged: CylinderJudgement | None) -> dict[str, Any]:
    word, path = judged.judgement if judged else None, judged.leak_path if judged else None
    return {
        "verdict": word.verdict.value if word else None,
        "probability": word.probability if word else None,
        "taps_did": judged.taps.verdict.value if judged and judged.taps else None,
        "change_pct": judged.taps.change_pct if judged and judged.taps else None,
        "u_change_pct": judged.taps.u_change_pct if judged and judged.taps else None,
        "stands_out": judged.stands_out.value if judged else None,
        "leak_path": path.sentence if path else None,
        "next_check": path.next_check if path else None,
    }


COMPARED = (
    "area_ratio",
    "u_area_ratio",
    "leak_area_m2",
    "u_leak_area_m2",
    "leak_diameter_m",
    "flow_kg_s",
    "u_flow_kg_s",
    "flow_anr_m3_s",
    "reference_loss_pct",
    "u_reference_loss_pct",
    "supply_gauge_pa",
    "cylinder_gauge_pa",
    "calibration_id",
)


def _compared(done: CylinderDone | None) -> dict[str, Any]:
    """Of the reading that counts: after taps, if there were any."""
    reading = (done.after_tap or done.as_found) if done else None
    return {name: plain(getattr(reading, name)) if reading else None for name in COMPARED}


def _limits(test: Judged, stated: bool) -> list[Mapping[str, Any]]:
    of = test.stated if stated else test.limits
    pair: tuple[Limit, Limit] = (of.sound_to, of.investigate_from)
    return [plain(limit) for limit in pair]


def _attempt(attempt: Attempt) -> dict[str, Any]:
    done: CylinderDone = attempt.done
    return {
        "cylinder": done.cylinder,
        "attempt": done.attempt,
        "utc": attempt.utc.isoformat(),
        "taps": done.taps,
        "as_found": plain(done.as_found),
        "after_tap": plain(done.after_tap) if done.after_tap else None,
        "counts": attempt.counts,
        "withdrawn_utc": attempt.withdrawn_utc.isoformat() if attempt.withdrawn_utc else None,
        "withdrawn_why": attempt.withdrawn_why or None,
    }


def _finding(stored: StoredFinding) -> dict[str, Any]:
    finding = stored.finding
    return {
        "number": finding.number,
        "cylinder": finding.cylinder,
        "place": finding.place.value,
        "strength": finding.strength.value,
        "neighbour": finding.neighbour,
        "note": finding.note,
        "utc": stored.utc.isoformat(),
        "counts": stored.withdrawn_utc is None,
    }
