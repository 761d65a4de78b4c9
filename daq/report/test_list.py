"""The tests that are stored, the newest first: for the terminal and for the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from daq.sinks.store.database import Database

_TESTS = """
    SELECT name, engine, started_utc, ended_utc, complete, skipped, json_extract(plan, '$.temperature') AS heat,
        (SELECT count(DISTINCT cylinder) FROM cylinder_result
            WHERE test_id = test.id AND withdrawn_utc IS NULL) AS cylinders
    FROM test ORDER BY id DESC LIMIT ?
"""


def stored_tests(database: Database, most: int) -> list[dict[str, Any]]:
    """Rows with name, engine, started_utc, ended_utc, complete, skipped, heat, cylinders (how many have a result)."""
    return list(database.query(_TESTS, [most]))


def state_of(row: Mapping[str, Any]) -> str:
    """How far a test came, in a word."""
    return "open" if row["ended_utc"] is None else "done" if row["complete"] else "incomplete"
