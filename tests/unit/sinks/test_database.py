"""The connection: what commits, what does not, and rows by name."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from daq.sinks.store.database import Database


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    opened = Database(sqlite3.connect(tmp_path / "some.db"))
    opened.execute("CREATE TABLE cylinder (number INTEGER UNIQUE, loss REAL)")
    yield opened
    opened.close()


def committed(tmp_path: Path) -> list[int]:
    """As another connection sees it."""
    with closing(sqlite3.connect(tmp_path / "some.db")) as other:
        return [number for (number,) in other.execute("SELECT number FROM cylinder ORDER BY number")]


def insert(database: Database, number: int) -> None:
    database.execute("INSERT INTO cylinder VALUES (?, ?)", [number, 5.5])


def test_a_statement_by_itself_is_committed(database: Database, tmp_path: Path) -> None:
    insert(database, 1)
    assert committed(tmp_path) == [1]


def test_a_block_is_committed_with_its_end(database: Database, tmp_path: Path) -> None:
    with database.atomic():
        insert(database, 1)
        insert(database, 2)
        assert committed(tmp_path) == []
    assert committed(tmp_path) == [1, 2]


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt])
def test_a_block_that_fails_leaves_nothing_and_the_next_goes_on(
    database: Database, tmp_path: Path, error: type[BaseException]
) -> None:
    with pytest.raises(error), database.atomic():
        insert(database, 1)
        raise error
    with database.atomic():
        insert(database, 3)
    assert committed(tmp_path) == [3]


def test_an_error_that_ends_the_transaction_itself_is_told_as_it_is(database: Database, tmp_path: Path) -> None:
    insert(database, 1)
    with pytest.raises(sqlite3.IntegrityError, match="UNIQUE"), database.atomic():
        insert(database, 2)
        database.execute("INSERT OR ROLLBACK INTO cylinder VALUES (1, 0.0)")
    assert committed(tmp_path) == [1]


def test_a_commit_that_is_refused_leaves_nothing(database: Database, tmp_path: Path) -> None:
    """Another connection reads, and this one is not patient."""
    insert(database, 1)
    database.execute("PRAGMA busy_timeout = 0")
    with closing(sqlite3.connect(tmp_path / "some.db")) as reader:
        reading = reader.execute("SELECT * FROM cylinder")
        reading.fetchone()
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM cylinder").fetchall()
        with pytest.raises(sqlite3.OperationalError, match="locked"), database.atomic():
            insert(database, 2)
    insert(database, 3)
    assert committed(tmp_path) == [1, 3]


def test_rows_come_by_the_names_of_their_columns(database: Database) -> None:
    insert(database, 1)
    insert(database, 2)
    found = database.query("SELECT number, loss AS loss_pct FROM cylinder WHERE number >= :least", {"least": 2})
    assert list(found) == [{"number": 2, "loss_pct": 5.5}]


def test_a_query_is_asked_at_once(database: Database) -> None:
    with pytest.raises(sqlite3.OperationalError, match="no such table"):
        database.query("SELECT * FROM gone")
