"""Findings added to a stored test afterwards: an event and a row like those of the test itself, with their day."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from daq.errors import UsageError
from daq.procedure import plan_from
from daq.procedure.finding import Words
from daq.records import Finding
from daq.sinks.event_json import kind_of
from daq.sinks.store.engine_tests import finding_row, insert
from daq.sinks.store.rows import detail_of, utc_text

if TYPE_CHECKING:
    from sqlite_utils import Database

_TEST = """
    SELECT test.id, test.boot_id, test.plan, event.segment, event.t_s, event.t_utc,
        (SELECT coalesce(max(number), 0) FROM finding WHERE test_id = test.id) AS findings
    FROM test JOIN event ON event.id = test.event_id WHERE test.id = ?
"""


def add_finding(database: Database, test_id: int, words: Words, now_s: float) -> Finding:
    """Commits it. Its place on the board's clock is where that clock would have been. UsageError without a cylinder of
    this engine."""
    with database.atomic():
        row = next(iter(database.query(_TEST, [test_id])))
        cylinder = _checked(words, plan_from(row["plan"]).engine.firing_order)
        t_s = row["t_s"] + now_s - datetime.fromisoformat(row["t_utc"]).timestamp()
        number = row["findings"] + 1
        finding = Finding(
            row["segment"], t_s, number, cylinder, words.place, words.strength, words.neighbour, words.note
        )
        event = {
            "boot_id": row["boot_id"],
            "segment": finding.segment,
            "t_s": t_s,
            "t_utc": utc_text(now_s),
            "kind": kind_of(finding),
            "cylinder": cylinder,
            "detail": detail_of(finding),
        }
        event_id = insert(database, "event", event)
        insert(database, "finding", finding_row(finding, utc_text(now_s)) | {"test_id": test_id, "event_id": event_id})
    return finding


def _checked(words: Words, cylinders: tuple[int, ...]) -> int:
    for number in (words.cylinder, words.neighbour):
        if number is not None and number not in cylinders:
            raise UsageError(f"This engine has no cylinder {number}.", f"It has 1 to {len(cylinders)}.")
    if words.cylinder is None:
        raise UsageError("Which cylinder was under air?", "Put its number in front: `3: exhaust clear`.")
    return words.cylinder
