"""The rows of a test of an engine: what was found, and what does not count any more."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing, suppress
from functools import cache
from pathlib import Path

from daq.records import CylinderDone, Finding, TakenBack, Withdrawn
from daq.sinks.store.database import Database
from daq.sinks.store.rows import Row

_RESULT = """
    UPDATE cylinder_result SET withdrawn_utc = ?, withdrawn_why = ?
    WHERE test_id = ? AND cylinder = ? AND attempt = ? AND withdrawn_utc IS NULL
"""
_READINGS = """
    UPDATE stable_reading SET withdrawn_utc = ?
    WHERE test_id = ? AND cylinder = ? AND attempt = ? AND withdrawn_utc IS NULL
"""
_OPEN_AGAIN = "UPDATE test SET ended_utc = NULL, complete = NULL, skipped = '' WHERE id = ?"
_FINDING = "UPDATE finding SET withdrawn_utc = ? WHERE test_id = ? AND number = ?"


def is_stored(path: Path, test: str) -> bool:
    """Whether a test of that name is in the database; while that cannot be read, nothing is known of it."""
    with suppress(sqlite3.Error), closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as database:
        return database.execute("SELECT 1 FROM test WHERE name = ?", [test]).fetchone() is not None
    return False


def finding_row(finding: Finding, utc: str) -> Row:
    return {
        "t_utc": utc,
        "number": finding.number,
        "cylinder": finding.cylinder,
        "place": finding.place.value,
        "strength": finding.strength.value,
        "neighbour": finding.neighbour,
        "note": finding.note,
    }


def told_again(database: Database, test_id: int | None, done: CylinderDone, utc: str) -> None:
    """A result that another run has told already, as where the log of a run that was killed holds more than it could
    store: the newer one counts."""
    if test_id is not None:
        database.execute(_RESULT, [utc, "told again", test_id, done.cylinder, done.attempt])


def withdraw(database: Database, test_id: int, withdrawn: Withdrawn, utc: str) -> None:
    """Nothing is deleted; a cylinder that was skipped had left no row."""
    where = [test_id, withdrawn.cylinder, withdrawn.number]
    if withdrawn.what in (TakenBack.RESULT, TakenBack.SKIP):
        database.execute(_OPEN_AGAIN, [test_id])
    match withdrawn.what:
        case TakenBack.RESULT | TakenBack.ATTEMPT:
            database.execute(_RESULT, [utc, withdrawn.reason, *where])
            database.execute(_READINGS, [utc, *where])
        case TakenBack.FINDING:
            database.execute(_FINDING, [utc, test_id, withdrawn.number])


def insert(database: Database, table: str, row: Mapping[str, object]) -> int:
    """The id of the new row."""
    row_id = database.execute(_insertion(table, tuple(row)), list(row.values())).lastrowid
    assert row_id is not None
    return row_id


@cache
def _insertion(table: str, columns: Sequence[str]) -> str:
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
