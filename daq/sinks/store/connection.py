"""Opening the database file: is it ours, is it not newer than we are, and what does SQLite mean by its errors."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from daq.errors import StorageError, UsageError
from daq.sinks.store.database import Database
from daq.sinks.store.migrations import APPLICATION_ID, SCHEMA_VERSION, bring_up_to_date

OLDEST_SQLITE = (3, 37, 0)
"""Strict tables came with it."""
BUSY_TIMEOUT_S = 5.0
PRAGMAS = (
    "page_size = 4096",
    "journal_mode = WAL",
    "synchronous = FULL",
    "foreign_keys = ON",
    "journal_size_limit = 16777216",
)

FULL = "the disk is full", "Free some space. Nothing needs a restart: writing goes on as soon as there is room."
FORBIDDEN = "writing there is not allowed", "Give boretight the right to write there, or choose another folder."
BUSY = "another program holds it", "Close the program that has it open for writing, or end its transaction."
NOT_A_DATABASE = "it is no SQLite database", "Name another file, or move this one out of the way."
DAMAGED = "it is damaged", "Move it away and start anew; `boretight replay` makes it again from the raw logs."
NO_WAY_IN = "the file cannot be opened", "Check that its folder is there and that boretight may write in it."
REFUSED = "the disk refuses", "Check the disk, its mount and the folder."

CAUSES = {
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_READONLY: FORBIDDEN,
    sqlite3.SQLITE_PERM: FORBIDDEN,
    sqlite3.SQLITE_AUTH: FORBIDDEN,
    sqlite3.SQLITE_BUSY: BUSY,
    sqlite3.SQLITE_LOCKED: BUSY,
    sqlite3.SQLITE_NOTADB: NOT_A_DATABASE,
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_CANTOPEN: NO_WAY_IN,
    sqlite3.SQLITE_IOERR: REFUSED,
}


@contextlib.contextmanager
def database_errors(path: Path, doing: str) -> Iterator[None]:
    """What the world did to the database becomes a StorageError; a mistake in our own SQL stays what it is."""
    try:
        yield
    except sqlite3.Error as error:
        cause = CAUSES.get(getattr(error, "sqlite_errorcode", -1) & 0xFF)
        if cause is None:
            raise
        what, todo = cause
        raise StorageError(f"Cannot {doing} {path}: {what}.", todo, str(error)) from error


def open_for_writing(path: Path) -> Database:
    """The database, made or brought up to date. For the thread that opens it, in a folder that is there.

    StorageError if the file is not ours, is newer than this program or cannot be written; then it is left as it was.
    """
    _check_library()
    with database_errors(path, "open"):
        if path.is_dir():
            raise StorageError(f"{path} is a folder, not a database.", "Name a file in the configuration.")
        if path.exists():
            _refuse_unless_ours(path)
        database = connect(path)
        try:
            bring_up_to_date(database)
        except BaseException:
            database.close()
            raise
    return database


def connect(path: Path) -> Database:
    """A connection that writes, with every commit safe against a loss of power. Raises sqlite3.Error."""
    connection = sqlite3.connect(path, timeout=BUSY_TIMEOUT_S)
    try:
        for pragma in PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")
    except BaseException:
        connection.close()
        raise
    return Database(connection)


def open_readonly(path: Path) -> Database:
    """The database for readers, also while a daemon writes. A long read lets the writer's log grow: keep it short.

    UsageError if there is no such file, StorageError if it is not ours, newer than this program or damaged.
    """
    if not path.is_file():
        raise UsageError(f"There is no database {path}", "The daemon makes it; `boretight config` says where.")
    with database_errors(path, "read"):
        _refuse_unless_ours(path)
        return Database(_connect_readonly(path))


@contextlib.contextmanager
def readable(path: Path) -> Iterator[Database]:
    """`open_readonly` for as long as the block lasts; what SQLite refuses in it is a StorageError that says so."""
    database = open_readonly(path)
    try:
        with database_errors(path, "read"):
            yield database
    finally:
        database.close()


def _check_library() -> None:
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        oldest = ".".join(map(str, OLDEST_SQLITE))
        raise StorageError(f"SQLite {oldest} or newer is needed.", "Update Python.", f"SQLite {sqlite3.sqlite_version}")


def _refuse_unless_ours(path: Path) -> None:
    """StorageError for a database of another program or of a later version of this one."""
    connection = _connect_for_a_glance(path)
    try:
        (application_id,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    finally:
        connection.close()
    if application_id != APPLICATION_ID and set(tables) - {"_sqlite_migrations"}:
        todo = "Name another file in the configuration."
        raise StorageError(f"{path} is a database of another program.", todo, f"its tables: {', '.join(tables[:5])}")
    if version > SCHEMA_VERSION:
        what = f"{path} was written by a newer boretight: schema {version}, this program knows {SCHEMA_VERSION}."
        raise StorageError(what, "Update boretight, or name another file in the configuration.")


def _connect_for_a_glance(path: Path) -> sqlite3.Connection:
    """Leaves nothing beside the file where nothing is: a database that nobody writes needs no files of its own."""
    if _is_written(path):
        return _connect_readonly(path)
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)


def _connect_readonly(path: Path) -> sqlite3.Connection:
    """Also where nothing beside the file can be made, as on a medium that cannot be written."""
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=BUSY_TIMEOUT_S)
    try:
        connection.execute("PRAGMA schema_version")
    except sqlite3.OperationalError:
        connection.close()
        if _is_written(path):
            raise
        return _connect_for_a_glance(path)
    return connection


def _is_written(path: Path) -> bool:
    """Whether a program has it open for writing, or was killed while it had."""
    return path.with_name(f"{path.name}-wal").exists()
