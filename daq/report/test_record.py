"""A stored test of an engine as one object: what was planned, every attempt, what was found, and with what it was read.

What was taken back is there too, and says so. Raises UsageError for a test that there is not, DataError for one that
this version cannot read.
"""

from __future__ import annotations

import contextlib
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from daq.calibration_files import from_snapshot as calibration_from
from daq.config import from_snapshot as config_from
from daq.errors import DataError, UsageError
from daq.measure.calibration import calibrated_instrument
from daq.planning import profile_of
from daq.procedure import EngineProfile, TestPlan, plan_from
from daq.procedure.finding import rocked_of
from daq.records import Calibration, CylinderDone, Finding, Instrument, MarkKind, Place, StableReading, Strength
from daq.sinks.event_json import event_from
from daq.sinks.store.database import Database

LAST = "last"
NOT_DESCRIBED = "not described"


@dataclass(frozen=True, slots=True)
class Attempt:
    """A cylinder that was put under air and vented. `reading_boot_id` is the run in which it was captured as found."""

    done: CylinderDone
    utc: datetime
    boot_id: int
    reading_boot_id: int
    withdrawn_utc: datetime | None
    withdrawn_why: str

    @property
    def counts(self) -> bool:
        return self.withdrawn_utc is None


@dataclass(frozen=True, slots=True)
class BrokenOff:
    """Readings of an attempt that never became a result; losses in percent at the set point."""

    cylinder: int
    attempt: int
    losses_pct: tuple[float, ...]
    withdrawn: bool


@dataclass(frozen=True, slots=True)
class StoredFinding:
    finding: Finding
    utc: datetime
    withdrawn_utc: datetime | None


@dataclass(frozen=True, slots=True)
class TestRecord:
    """`instrument` has the restrictor of `calibration`, which is that of the newest reading that counts.

    `acknowledged` names who has acknowledged the cautions, empty if nobody has. `rocked`: whether rocking the crank
    changed the loss of a cylinder, where somebody tried.
    """

    __test__ = False  # the name is a garage word, not a test of this project

    id: int
    event_id: int
    name: str
    bench: str
    software: str
    raw_log: str
    started_utc: datetime
    ended_utc: datetime | None
    complete: bool
    skipped: tuple[int, ...]
    plan: TestPlan
    profile: EngineProfile
    instrument: Instrument
    calibration: Calibration | None
    attempts: tuple[Attempt, ...]
    broken_off: tuple[BrokenOff, ...]
    findings: tuple[StoredFinding, ...]
    acknowledged: str
    rocked: Mapping[int, bool]

    @property
    def results(self) -> tuple[CylinderDone, ...]:
        """What counts; of a cylinder that was done more than once all, oldest first."""
        return tuple(attempt.done for attempt in self.attempts if attempt.counts)

    @property
    def heard(self) -> tuple[Finding, ...]:
        """The findings that count."""
        return tuple(each.finding for each in self.findings if each.withdrawn_utc is None)


def load_test(database: Database, wanted: str, path: Path) -> TestRecord:
    """`wanted`: a name, the begin of just one, or `last`. `path` names the database in errors."""
    row = _test_row(database, wanted, path)
    plan = _plan(row["plan"], row["name"])
    attempts = _attempts(database, row["id"])
    calibration = _calibration(database, attempts, path)
    instrument = config_from(json.loads(row["config"]), path).measuring_instrument()
    return TestRecord(
        id=row["id"],
        event_id=row["event_id"],
        name=row["name"],
        bench=row["bench"],
        software=row["software"],
        raw_log=row["raw_log"],
        started_utc=utc_of(row["started_utc"]),
        ended_utc=utc_of(row["ended_utc"]) if row["ended_utc"] else None,
        complete=bool(row["complete"]),
        skipped=tuple(int(number) for number in row["skipped"].split()),
        plan=plan,
        profile=profile_of(plan),
        instrument=calibrated_instrument(instrument, calibration) if calibration else instrument,
        calibration=calibration,
        attempts=attempts,
        broken_off=_broken_off(database, row["id"]),
        findings=_findings(database, row["id"]),
        acknowledged=plan.acknowledged or _acknowledged(database, row),
        rocked=_rocked(database, row),
    )


def utc_of(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


# ---- the test itself

_TEST = """
    SELECT test.id, test.name, test.event_id, test.boot_id, test.plan, test.started_utc, test.ended_utc, complete,
        skipped, boot.config, boot.software, boot.raw_log, bench.name AS bench
    FROM test JOIN boot ON boot.id = test.boot_id JOIN bench ON bench.id = boot.bench_id
"""


def _test_row(database: Database, wanted: str, path: Path) -> dict[str, Any]:
    if wanted == LAST:
        rows = list(database.query(f"{_TEST} ORDER BY test.id DESC LIMIT 1"))
    else:
        rows = list(database.query(f"{_TEST} WHERE test.name = ?", [wanted]))
        rows = rows or list(database.query(f"{_TEST} WHERE substr(test.name, 1, ?) = ?", [len(wanted), wanted]))
    if len(rows) != 1:
        what = f"No test {wanted!r} is stored in {path}." if not rows else f"Several tests begin with {wanted!r}."
        raise UsageError(what, "`boretight test list` names them.")
    return rows[0]


def _plan(text: str, test: str) -> TestPlan:
    try:
        return plan_from(text)
    except UsageError as error:
        raise DataError(f"The plan of test {test} cannot be read.", "Update boretight.", error.evidence) from error


_MARKS = """
    SELECT json_extract(detail, '$.text') AS text FROM event JOIN boot ON boot.id = event.boot_id
    JOIN bench ON bench.id = boot.bench_id
    WHERE kind = 'marked' AND event.id > :after AND json_extract(detail, '$.kind') = :mark
        AND bench.name = :bench AND (:ended IS NULL OR t_utc <= :ended)
    ORDER BY event.id
"""
SOMEBODY = "somebody at the bench"


def _marks(database: Database, row: Mapping[str, Any], kind: MarkKind) -> list[str]:
    """The words of the marks of this kind that were made during the test."""
    values = {"after": row["event_id"], "bench": row["bench"], "ended": row["ended_utc"], "mark": kind.value}
    return [str(found["text"] or "") for found in database.query(_MARKS, values)]


def _acknowledged(database: Database, row: Mapping[str, Any]) -> str:
    marks = _marks(database, row, MarkKind.ACKNOWLEDGE)
    return (marks[0] or SOMEBODY) if marks else ""


def _rocked(database: Database, row: Mapping[str, Any]) -> dict[int, bool]:
    """The newest word on each cylinder counts; what cannot be read was never taken for one."""
    rocked = {}
    for text in _marks(database, row, MarkKind.ROCKED):
        with contextlib.suppress(UsageError):
            cylinder, changed = rocked_of(text)
            rocked[cylinder] = changed
    return rocked


# ---- its results

_ATTEMPTS = """
    SELECT result.cylinder, result.attempt, result.taps, result.t_utc, result.boot_id, result.withdrawn_utc,
        result.withdrawn_why, event.segment, event.t_s, event.detail,
        coalesce(stable_reading.boot_id, result.boot_id) AS reading_boot_id
    FROM cylinder_result AS result JOIN event ON event.id = result.event_id
        LEFT JOIN stable_reading ON stable_reading.id = result.as_found_reading_id
    WHERE result.test_id = ? ORDER BY result.id
"""


def _attempts(database: Database, test_id: int) -> tuple[Attempt, ...]:
    return tuple(_attempt(row) for row in database.query(_ATTEMPTS, [test_id]))


def _attempt(row: Mapping[str, Any]) -> Attempt:
    detail = json.loads(row["detail"])
    after = detail["after_tap"]
    done = CylinderDone(
        segment=row["segment"],
        t_s=row["t_s"],
        cylinder=row["cylinder"],
        as_found=reading_of(detail["as_found"]),
        after_tap=None if after is None else reading_of(after),
        taps=row["taps"],
        attempt=row["attempt"],
    )
    withdrawn = utc_of(row["withdrawn_utc"]) if row["withdrawn_utc"] else None
    utc, why = utc_of(row["t_utc"]), row["withdrawn_why"] or ""
    return Attempt(done, utc, row["boot_id"], row["reading_boot_id"], withdrawn, why)


def reading_of(detail: Mapping[str, Any]) -> StableReading:
    """A stable reading as an event keeps it, its budget included."""
    reading: StableReading = event_from("stable_reading", detail)
    return reading


_BROKEN_OFF = """
    SELECT cylinder, attempt, loss_at_set_pct, withdrawn_utc FROM stable_reading AS reading
    WHERE test_id = :test AND NOT EXISTS (SELECT 1 FROM cylinder_result AS result WHERE result.test_id = :test
        AND result.cylinder = reading.cylinder AND result.attempt = reading.attempt)
    ORDER BY id
"""


def _broken_off(database: Database, test_id: int) -> tuple[BrokenOff, ...]:
    found: dict[tuple[int, int], BrokenOff] = {}
    for row in database.query(_BROKEN_OFF, {"test": test_id}):
        key = (row["cylinder"], row["attempt"])
        before = found.get(key, BrokenOff(*key, (), False))
        losses = (*before.losses_pct, row["loss_at_set_pct"])
        found[key] = BrokenOff(*key, losses, before.withdrawn or row["withdrawn_utc"] is not None)
    return tuple(found.values())


def _findings(database: Database, test_id: int) -> tuple[StoredFinding, ...]:
    rows = database.query("SELECT * FROM finding WHERE test_id = ? ORDER BY number, id", [test_id])
    return tuple(_finding(row) for row in rows)


def _finding(row: Mapping[str, Any]) -> StoredFinding:
    finding = Finding(
        segment=0,
        t_s=math.nan,
        number=row["number"],
        cylinder=row["cylinder"],
        place=Place(row["place"]),
        strength=Strength(row["strength"]),
        neighbour=row["neighbour"],
        note=row["note"],
    )
    withdrawn = utc_of(row["withdrawn_utc"]) if row["withdrawn_utc"] else None
    return StoredFinding(finding, utc_of(row["t_utc"]), withdrawn)


# ---- what it was read with


def _calibration(database: Database, attempts: Iterable[Attempt], path: Path) -> Calibration | None:
    """None where nothing was read, or nobody has described the calibration."""
    newest = [attempt.done.after_tap or attempt.done.as_found for attempt in attempts if attempt.counts][-1:]
    return stored_calibration(database, newest[0].calibration_id, path) if newest else None


def stored_calibration(database: Database, calibration_id: str, path: Path) -> Calibration | None:
    rows = list(database.query("SELECT origin, content FROM calibration WHERE id = ?", [calibration_id]))
    if not rows or rows[0]["origin"] == NOT_DESCRIBED:
        return None
    return replace(calibration_from(_endless(json.loads(rows[0]["content"])), path), calibration_id=calibration_id)


def _endless(value: Any) -> Any:
    """Degrees of freedom without end stand as null in the database."""
    if not isinstance(value, dict):
        return value
    return {
        key: math.inf if key == "degrees_of_freedom" and each is None else _endless(each) for key, each in value.items()
    }
