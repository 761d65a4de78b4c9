"""What has been committed and not yet announced. The truth is in the database; here is its beginning, in memory."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Protocol

from daq.sinks.store.database import Database
from daq.sinks.store.rows import utc_text

EXPIRE_S = 7 * 86_400.0
CAPACITY = 500

_WAITING = "body IS NOT NULL AND announced_utc IS NULL AND expired_utc IS NULL"


Job = Callable[["Database"], "list[OutboxItem]"]


@dataclass(frozen=True, slots=True)
class OutboxItem:
    """A committed event with the message that announces it. `id` rises in the order of commitment."""

    id: int
    stream: str
    seq: int
    body: str
    cylinder: int | None
    utc_s: float


class Later(Protocol):
    """Runs `job` where the database is, then `then` in the event loop, with the result or, if that failed, None."""

    def __call__(self, job: Job, then: Callable[[list[OutboxItem] | None], None]) -> None: ...


class Outbox:
    """Hands out what is to be announced, oldest first, and remembers what has been. For the event loop; no method
    waits for the disk.

    What is marked as announced is so at once here and a moment later in the database. A program killed between the
    two announces it again: its identity (bench, boot, stream, seq) is the same, so a reader can drop it.
    What is older than EXPIRE_S is no longer announced. Only events of one bench are, whoever else uses the database.
    """

    def __init__(self, later: Later, now: Callable[[], float] = time.time) -> None:
        self._later, self._now = later, now
        self._bench_id = 0
        self._items: deque[OutboxItem] = deque()
        self._newest_id = 0
        self._more_in_database = self._loading = self._missed = False
        self._unmarked: dict[int, str] = {}
        self.on_committed: Callable[[], None] = lambda: None
        """Called when there is something new to announce."""

    def begin(self, bench_id: int, waiting: Sequence[OutboxItem]) -> None:
        """The store is open; `waiting` is what `load` found in it."""
        self._bench_id = bench_id
        self._take(waiting)

    def add(self, items: Sequence[OutboxItem]) -> None:
        """These have been committed just now."""
        if self._more_in_database:
            self._missed = self._missed or bool(items)
        else:
            self._take(items)
        if items:
            self.on_committed()

    def pending(self, limit: int) -> list[OutboxItem]:
        """The oldest that have not been announced, in order. Empty also while more are being loaded."""
        self._expire()
        self._load_if_low()
        return list(islice(self._items, limit))

    def announced(self, ids: Sequence[int]) -> None:
        """The broker has acknowledged these."""
        self._settle(ids, "announced_utc")

    def _expire(self) -> None:
        too_old_s = self._now() - EXPIRE_S
        old = [item.id for item in self._items if item.utc_s < too_old_s]
        if old:
            self._settle(old, "expired_utc")

    def _settle(self, ids: Sequence[int], column: str) -> None:
        gone = set(ids)
        self._items = deque(item for item in self._items if item.id not in gone)
        self._unmarked.update(dict.fromkeys(ids, column))
        marks, utc = dict(self._unmarked), utc_text(self._now())

        def mark(database: Database) -> list[OutboxItem]:
            with database.atomic():
                for event_id, name in marks.items():
                    database.execute(f"UPDATE event SET {name} = ? WHERE id = ?", [utc, event_id])
            return []

        def marked(done: list[OutboxItem] | None) -> None:
            for event_id in marks if done is not None else ():
                self._unmarked.pop(event_id, None)

        self._later(mark, marked)

    def _load_if_low(self) -> None:
        if not self._more_in_database or self._loading or len(self._items) > CAPACITY // 2:
            return
        self._loading, self._missed = True, False
        bench_id, after_id = self._bench_id, self._newest_id
        self._later(lambda database: load(database, bench_id, after_id), self._loaded)

    def _loaded(self, items: list[OutboxItem] | None) -> None:
        self._loading = False
        if items is not None:
            self._more_in_database = self._missed
            self._take(items)
            self.on_committed()

    def _take(self, items: Sequence[OutboxItem]) -> None:
        """As many as there is room for, in the order of their ids."""
        for item in items:
            if len(self._items) >= CAPACITY:
                self._more_in_database = True
                return
            if item.id > self._newest_id:
                self._items.append(item)
                self._newest_id = item.id


def load(database: Database, bench_id: int, after_id: int = 0) -> list[OutboxItem]:
    """The oldest events of a bench behind `after_id` that still are to be announced, one more than fit into memory."""
    sql = f"""
        SELECT id, stream, seq, body, cylinder, t_utc FROM event
        WHERE {_WAITING} AND id > ? AND boot_id IN (SELECT id FROM boot WHERE bench_id = ?)
        ORDER BY id LIMIT ?
    """
    rows = database.execute(sql, [after_id, bench_id, CAPACITY + 1])
    return [
        OutboxItem(event_id, stream, seq, body, cylinder, datetime.fromisoformat(t_utc).timestamp())
        for event_id, stream, seq, body, cylinder, t_utc in rows
    ]
