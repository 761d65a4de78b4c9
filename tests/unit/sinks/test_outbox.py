from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.records import Delivery, Gap
from daq.sinks.store import outbox as outbox_module
from daq.sinks.store.boot import Boot
from daq.sinks.store.database import Database
from daq.sinks.store.migrations import bring_up_to_date
from daq.sinks.store.outbox import Outbox, OutboxItem
from daq.sinks.store.store import Store
from tests.suites.deliveries import UTC_OFFSET_S, delivery, every_event, stable
from tests.unit.sinks.store_scenes import NOW_S, PlainMessages, rows, store, table, within, write


def gaps(first: int, count: int) -> Delivery:
    return delivery(*(Gap(1, float(number), number) for number in range(first, first + count)))


def numbers(items: list[OutboxItem]) -> list[int]:
    """What the messages of `gaps` say."""
    return [int(float(item.body.split()[-1])) for item in items]


async def settled(made: Store) -> None:
    """Until the thread has done what it was asked to, and the event loop knows."""
    assert made._executor is not None
    await asyncio.wrap_future(made._executor.submit(lambda: None))
    for _ in range(3):
        await asyncio.sleep(0)


def test_what_was_committed_waits_in_order_with_stream_and_number(tmp_path: Path) -> None:
    made = write(store(tmp_path), delivery(*every_event()))
    items = made.outbox.pending(100)
    assert [item.id for item in items] == sorted(item.id for item in items)
    assert [item.seq for item in items if item.stream == "reading"] == [0, 1]
    assert [item.seq for item in items if item.stream == "event"] == list(range(22))
    assert [item.cylinder for item in items if item.stream == "reading"] == [2, 2]
    assert made.outbox.pending(3) == items[:3]


def test_what_was_announced_is_gone_at_once_and_for_the_next_run(tmp_path: Path) -> None:
    made = store(tmp_path)

    async def scene() -> None:
        await made.write(gaps(0, 10))
        made.outbox.announced([item.id for item in made.outbox.pending(4)])
        assert numbers(made.outbox.pending(100)) == list(range(4, 10))

    within(made, scene)
    again = write(store(tmp_path, "boot-2"))
    assert numbers(again.outbox.pending(100)) == list(range(4, 10))
    assert [row["announced_utc"] for row in table(tmp_path, "event")] == ["2026-01-01T01:00:00.000000Z"] * 4 + [
        None
    ] * 6


def test_the_hook_is_called_after_the_commit_and_only_for_something_to_announce(tmp_path: Path) -> None:
    made = store(tmp_path)
    seen: list[tuple[int, int]] = []

    async def scene() -> None:
        made.outbox.on_committed = lambda: seen.append(
            (len(made.outbox.pending(100)), rows(tmp_path, "SELECT count(*) FROM event")[0][0])
        )
        await made.write(gaps(0, 2))
        await made.write(delivery())
        await made.write(delivery(stable()))

    within(made, scene)
    assert seen == [(2, 2), (3, 3)]


def test_a_long_absence_of_the_broker_is_caught_up_in_order_beside_what_comes_new(tmp_path: Path) -> None:
    write(store(tmp_path, "away"), gaps(0, 1300))
    made, announced = store(tmp_path, "back"), []

    async def scene() -> None:
        new = 1300
        while len(announced) < 1600:
            items = made.outbox.pending(50)
            assert len(made.outbox._items) <= outbox_module.CAPACITY
            announced.extend(numbers(items))
            made.outbox.announced([item.id for item in items])
            if new < 1600:
                await made.write(gaps(new, 10))
                new += 10
            await settled(made)

    within(made, scene)
    assert announced == list(range(1600))
    assert rows(tmp_path, "SELECT count(*) FROM event WHERE announced_utc IS NULL") == [(0,)]


def test_after_a_week_nothing_is_announced(tmp_path: Path) -> None:
    write(store(tmp_path, "old"), gaps(0, 3))
    now_s = [UTC_OFFSET_S + 1.5 + 7 * 86_400]
    made = store(tmp_path, "new", now=lambda: now_s[0])

    async def scene() -> None:
        assert numbers(made.outbox.pending(10)) == [2]
        now_s[0] += 1
        assert made.outbox.pending(10) == []

    within(made, scene)
    assert [row["expired_utc"] is not None for row in table(tmp_path, "event")] == [True] * 3
    assert [row["announced_utc"] for row in table(tmp_path, "event")] == [None] * 3
    assert write(store(tmp_path, "later")).outbox.pending(10) == []


def test_another_bench_in_the_same_database_keeps_its_messages(tmp_path: Path) -> None:
    write(store(tmp_path), gaps(0, 3))
    other = Store(tmp_path / "bench.db", Boot("bench-two", "x"), renderer=PlainMessages(), now=lambda: NOW_S)
    assert write(other, gaps(7, 1)).outbox.pending(10)[0].body == "bench-two/x/0 Gap 7.0"
    assert numbers(write(store(tmp_path, "boot-3")).outbox.pending(10)) == [0, 1, 2]


def test_what_is_announced_after_the_store_was_closed_is_marked_too(tmp_path: Path) -> None:
    made = store(tmp_path)

    async def scene() -> None:
        await made.open()
        await made.write(gaps(0, 5))
        await made.close()
        made.outbox.announced([item.id for item in made.outbox.pending(3)])

    asyncio.run(scene())
    assert rows(tmp_path, "SELECT count(*) FROM event WHERE announced_utc IS NOT NULL") == [(3,)]


def test_a_mark_that_the_disk_refused_is_made_with_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr("daq.sinks.store.connection.BUSY_TIMEOUT_S", 0.01)
    made = store(tmp_path)

    async def scene() -> None:
        await made.write(gaps(0, 5))
        blocker = sqlite3.connect(tmp_path / "bench.db")
        blocker.execute("BEGIN IMMEDIATE")
        made.outbox.announced([item.id for item in made.outbox.pending(2)])
        await settled(made)
        assert numbers(made.outbox.pending(10)) == [2, 3, 4]
        blocker.rollback()
        blocker.close()
        made.outbox.announced([made.outbox.pending(1)[0].id])

    within(made, scene)
    assert rows(tmp_path, "SELECT count(*) FROM event WHERE announced_utc IS NOT NULL") == [(3,)]
    assert "another program holds it" in caplog.text


def test_a_load_that_failed_is_tried_again() -> None:
    asked: list[Callable[[Any], None]] = []
    outbox = Outbox(lambda job, then: asked.append(then), now=lambda: NOW_S)
    items = [OutboxItem(number, "event", number, f"Gap {number}", None, NOW_S) for number in range(1, 502)]
    outbox.begin(1, items)
    outbox.announced(range(1, 501))
    assert outbox.pending(10) == []
    asked.pop()(None)
    assert outbox.pending(10) == []
    asked.pop()(items[500:])
    assert outbox.pending(10) == items[500:]


class Thread:
    """The thread of the database, one job at a time when the test says so; its results come back when it says so."""

    def __init__(self) -> None:
        self.database = Database(sqlite3.connect(":memory:"))
        bring_up_to_date(self.database)
        self.database.execute("INSERT INTO bench VALUES (1, 'b')")
        self.database.execute("INSERT INTO boot VALUES (1, 'x', 1, '', NULL, '', '', '{}')")
        self.jobs: list[tuple[Callable[[Database], Any], Callable[[Any], None]]] = []
        self.results: list[tuple[Callable[[Any], None], Any]] = []

    def later(self, job: Callable[[Database], Any], then: Callable[[Any], None]) -> None:
        self.jobs.append((job, then))

    def work(self) -> None:
        if self.jobs:
            job, then = self.jobs.pop(0)
            self.results.append((then, job(self.database)))

    def report(self, which: int) -> None:
        if self.results:
            then, result = self.results.pop(which % len(self.results))
            then(result)


class Scene:
    """A store that commits and a broker that takes, around an outbox that holds four."""

    def __init__(self) -> None:
        self.thread = Thread()
        self.outbox = Outbox(self.thread.later, now=lambda: NOW_S)
        self.outbox.begin(1, [])
        self.committing = False
        self.committed = 0
        self.announced: list[int] = []

    def step(self, name: str, number: int) -> None:
        steps = {"commit": self.commit, "report": self.thread.report, "announce": self.announce}
        steps.get(name, lambda _: self.thread.work())(number)

    def commit(self, count: int) -> None:
        """The store writes one delivery at a time."""
        if not self.committing:
            self.committing = True
            self.thread.later(lambda database: self._insert(database, count), self._added)

    def announce(self, limit: int) -> None:
        items = self.outbox.pending(limit)
        self.announced.extend(numbers(items))
        if items:
            self.outbox.announced([item.id for item in items])

    def _insert(self, database: Database, count: int) -> list[OutboxItem]:
        before, self.committed = self.committed, self.committed + count
        sql = "INSERT INTO event VALUES (?, 1, 1, 0, '2026-01-01', 'gap', NULL, '{}', 'event', ?, ?, NULL, NULL)"
        for number in range(before, self.committed):
            database.execute(sql, [number + 1, number, f"Gap {number}"])
        return [OutboxItem(n + 1, "event", n, f"Gap {n}", None, NOW_S) for n in range(before, self.committed)]

    def _added(self, items: list[OutboxItem]) -> None:
        self.committing = False
        self.outbox.add(items)


AWAY_WITH_MORE = [("commit", 6), ("work", 0), ("report", 0), ("announce", 4)]
LOAD, WORK_ALL, CATCH_UP = ("announce", 9), [("work", 0)] * 3, [("work", 0), ("report", 0), ("announce", 9)]


@pytest.mark.parametrize(
    "race",
    [
        pytest.param([LOAD, ("commit", 1), *WORK_ALL, ("report", 2)], id="committed after the load, known before it"),
        pytest.param([("commit", 1), LOAD, *WORK_ALL, ("report", 2)], id="committed before the load, known after it"),
    ],
)
def test_a_load_and_a_commit_that_cross_lose_and_double_nothing(race: list[tuple[str, int]]) -> None:
    """The event loop promises no order between their reports."""
    play(AWAY_WITH_MORE + race + CATCH_UP * 20)


@given(st.lists(st.tuples(st.sampled_from(["commit", "work", "report", "announce"]), st.integers(0, 9)), max_size=80))
def test_whatever_comes_between_each_is_announced_once_and_in_order(steps: list[tuple[str, int]]) -> None:
    play(steps + CATCH_UP * 200)


def play(steps: list[tuple[str, int]]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(outbox_module, "CAPACITY", 4)
        scene = Scene()
        for name, number in steps:
            scene.step(name, number)
    assert scene.announced == list(range(scene.committed))
    left = "SELECT count(*) FROM event WHERE announced_utc IS NULL"
    assert scene.thread.database.execute(left).fetchone() == (0,)
