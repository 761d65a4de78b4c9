"""Findings added to a stored test afterwards, or taken back: events and rows like those of the test, with their day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from daq.errors import UsageError
from daq.procedure import plan_from
from daq.procedure.finding import Words
from daq.records import Event, Finding, TakenBack, Withdrawn
from daq.sinks.event_json import kind_of
from daq.sinks.store.database import Database
from daq.sinks.store.engine_tests import finding_row, insert, withdraw
from daq.sinks.store.rows import detail_of, utc_text

BY_HAND = "Taken back afterwards."
_TEST = """
    SELECT test.id, test.boot_id, test.plan, event.segment, event.t_s, event.t_utc,
        (SELECT coalesce(max(number), 0) FROM finding WHERE test_id = test.id) AS findings
    FROM test JOIN event ON event.id = test.event_id WHERE test.id = ?
"""
_FINDING = "SELECT cylinder FROM finding WHERE test_id = ? AND number = ? AND withdrawn_utc IS NULL"


@dataclass(frozen=True, slots=True)
class _Later:
    """Now, as the clock of the test's own run would have it; `row` is that of `_TEST`."""

    row: dict[str, Any]
    now_s: float

    @property
    def t_s(self) -> float:
        began_s = datetime.fromisoformat(self.row["t_utc"]).timestamp()
        return float(self.row["t_s"]) + self.now_s - began_s

    def event(self, event: Event, cylinder: int) -> dict[str, Any]:
        """The row of an event that is not announced."""
        return {
            "boot_id": self.row["boot_id"],
            "segment": self.row["segment"],
            "t_s": self.t_s,
            "t_utc": utc_text(self.now_s),
            "kind": kind_of(event),
            "cylinder": cylinder,
            "detail": detail_of(event),
        }


def add_finding(database: Database, test_id: int, words: Words, now_s: float) -> Finding:
    """Commits it. UsageError without a cylinder, or with one that is none of this engine's."""
    with database.atomic():
        later = _later(database, test_id, now_s)
        cylinder = _checked(words, plan_from(later.row["plan"]).engine.firing_order)
        number, segment = later.row["findings"] + 1, later.row["segment"]
        finding = Finding(
            segment, later.t_s, number, cylinder, words.place, words.strength, words.neighbour, words.note
        )
        event_id = insert(database, "event", later.event(finding, cylinder))
        insert(database, "finding", finding_row(finding, utc_text(now_s)) | {"test_id": test_id, "event_id": event_id})
    return finding


def withdraw_finding(database: Database, test_id: int, number: int, now_s: float) -> Withdrawn:
    """Commits that it does not count any more; it stays. UsageError if there is none of this number that counts."""
    with database.atomic():
        found = next(iter(database.query(_FINDING, [test_id, number])), None)
        if found is None:
            raise UsageError(f"There is no finding {number} that counts.", "`boretight finding list` numbers them.")
        later = _later(database, test_id, now_s)
        cylinder = int(found["cylinder"])
        withdrawn = Withdrawn(later.row["segment"], later.t_s, TakenBack.FINDING, cylinder, number, BY_HAND)
        insert(database, "event", later.event(withdrawn, cylinder))
        withdraw(database, test_id, withdrawn, utc_text(now_s))
    return withdrawn


def _later(database: Database, test_id: int, now_s: float) -> _Later:
    return _Later(next(iter(database.query(_TEST, [test_id]))), now_s)


def _checked(words: Words, cylinders: tuple[int, ...]) -> int:
    for number in (words.cylinder, words.neighbour):
        if number is not None and number not in cylinders:
            raise UsageError(f"This engine has no cylinder {number}.", f"It has 1 to {len(cylinders)}.")
    if words.cylinder is None:
        raise UsageError("Which cylinder was under air?", "Put its number in front: `3: exhaust clear`.")
    return words.cylinder
