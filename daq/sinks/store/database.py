"""A connection to SQLite as the store and its readers use it: rows by name, and transactions that are said."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

Values = Sequence[Any] | Mapping[str, Any]


class Database:
    """Each statement is a transaction of its own, but for those within `atomic`. All of it raises sqlite3.Error."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        """Takes the connection over."""
        self._connection = connection
        connection.isolation_level = None  # sqlite3 of Python begins no transactions by itself

    def execute(self, sql: str, values: Values = ()) -> sqlite3.Cursor:
        return self._connection.execute(sql, values)

    def query(self, sql: str, values: Values = ()) -> Iterator[dict[str, Any]]:
        """Rows by the names of their columns. Executed at once, fetched as they are asked for."""
        cursor = self.execute(sql, values)
        names = [column[0] for column in cursor.description]
        return (dict(zip(names, row, strict=True)) for row in cursor)

    @contextmanager
    def atomic(self) -> Iterator[None]:
        """All of the block is committed with its end, or nothing of it. No block within a block."""
        self.execute("BEGIN")
        try:
            yield
            self.execute("COMMIT")
        except BaseException:
            self._connection.rollback()  # nothing to do where the error has ended the transaction already
            raise

    def close(self) -> None:
        self._connection.close()
