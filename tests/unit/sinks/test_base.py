from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from daq.errors import ConfigError, StorageError, UnavailableError
from daq.records import Delivery, Marked
from daq.sinks.base import BackOff, DropPolicy, Sink, SinkRunner
from tests.suites.deliveries import a_run, delivery, readings, samples
from tests.suites.sink_suite import SinkSuite


class ListSink:
    """Keeps what it is given; fails as often as told to, and hangs while told to."""

    def __init__(self, *failures: Exception, refuses: str = "") -> None:
        self.failures, self.refuses = list(failures), refuses
        self.written: list[Delivery] = []
        self.closed = 0
        self.free = asyncio.Event()
        self.free.set()

    async def open(self) -> None:
        self._fail()

    async def write(self, each: Delivery) -> None:
        await self.free.wait()
        self._fail()
        if any(isinstance(record, Marked) and record.text == self.refuses for record in each.records):
            raise ValueError("cannot write this one")
        self.written.append(each)

    async def close(self) -> None:
        self.closed += 1

    @property
    def marks(self) -> list[str]:
        return [r.text for each in self.written for r in each.records if isinstance(r, Marked)]

    def _fail(self) -> None:
        if self.failures:
            raise self.failures.pop(0)


class TestListSink(SinkSuite):
    def make(self, folder: Path) -> Sink:
        return ListSink()

    def taken(self, folder: Path, sink: Sink) -> list[str]:
        assert isinstance(sink, ListSink)
        names = [type(record).__name__ for each in sink.written for record in each.records]
        return [name for name in names if name not in ("Samples", "Readings")]


class TestListSinkNewestWins(TestListSink):
    policy = DropPolicy.NEWEST_WINS


def mark(text: str) -> Delivery:
    return delivery(Marked(1, 0.0, "note", text, "operator"))


def play(runner: SinkRunner, scene: Callable[[], Awaitable[Any]]) -> Any:
    """Run the scene beside the runner, and cancel what is left of it."""

    async def both() -> Any:
        task = asyncio.create_task(runner.run())
        try:
            return await scene()
        finally:
            task.cancel()
            await asyncio.wait({task})

    return asyncio.run(both())


async def until(condition: Callable[[], bool]) -> None:
    while not condition():
        await asyncio.sleep(0)


class Sleeps(list[float]):
    """Stands in for the clock: remembers how long it was asked to sleep, and does not."""

    async def __call__(self, seconds: float) -> None:
        self.append(seconds)
        await asyncio.sleep(0)


def worst(low: float, high: float) -> float:
    return high


@pytest.mark.parametrize("error", [StorageError("full"), UnavailableError("away"), OSError(5, "input/output error")])
def test_what_may_pass_is_tried_again_with_growing_pauses(error: Exception) -> None:
    sink, sleeps = ListSink(), Sleeps()
    back_off = BackOff(first_s=1.0, most_s=5.0, draw=worst)
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, back_off=back_off, sleep=sleeps)

    async def scene() -> None:
        await runner.open()
        for text in ("a", "b"):
            sink.failures = [error] * 4
            runner.put(mark(text))
            await until(lambda: not runner.status.queued)

    play(runner, scene)
    assert sink.marks == ["a", "b"]
    assert sleeps == [1.0, 2.0, 4.0, 5.0] * 2
    assert (runner.status.faults, runner.status.failing, runner.status.last_fault) == (8, False, str(error))


@pytest.mark.parametrize("error", [StorageError("full"), UnavailableError("away")])
def test_opening_is_tried_again(error: Exception) -> None:
    sink, sleeps = ListSink(error, error), Sleeps()
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, back_off=BackOff(1.0, 5.0, worst), sleep=sleeps)

    async def scene() -> None:
        runner.put(mark("a"))
        await until(lambda: not runner.status.queued)

    play(runner, scene)
    assert (sink.marks, sleeps, runner.status.failing) == (["a"], [1.0, 2.0], False)


def test_jitter_is_full_and_the_limit_holds() -> None:
    drawn: list[tuple[float, float]] = []
    back_off = BackOff(first_s=0.5, most_s=30.0, draw=lambda low, high: drawn.append((low, high)) or low)
    assert [back_off.delay_s(failures) for failures in (0, 1, 10, 10_000)] == [0.0] * 4
    assert drawn == [(0.0, 0.5), (0.0, 1.0), (0.0, 30.0), (0.0, 30.0)]


def test_a_sink_that_hangs_holds_nobody_up_and_events_survive() -> None:
    sink = ListSink()
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, capacity=10, batch=5)

    async def scene() -> int:
        sink.free.clear()
        for step in a_run(1000):
            runner.put(step)
            await asyncio.sleep(0)
        stuck = runner.status
        assert stuck.written == 0
        assert stuck.queued <= 5 + 20 + 100
        assert stuck.dropped > 1800
        sink.free.set()
        return await runner.drain(30)

    assert play(runner, scene) == 0
    assert sink.marks == [f"mark {step}" for step in range(9, 1000, 10)]
    assert runner.status.dropped_events == 0


def test_a_sink_that_raises_anything_loses_only_what_it_cannot_write() -> None:
    sink = ListSink(refuses="bad")
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP)

    async def scene() -> int:
        for text in ("a", "b", "bad", "c", "d"):
            runner.put(mark(text))
        return await runner.drain(30)

    assert play(runner, scene) == 0
    assert sink.marks == ["a", "b", "c", "d"]
    status = runner.status
    assert (status.written, status.dropped, status.dropped_events, status.faults) == (4, 1, 1, 2)
    assert status.last_fault == "cannot write this one"


def test_an_unexpected_error_while_opening_is_tried_again_too() -> None:
    sink = ListSink(ConfigError("no such broker"), RuntimeError())
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, sleep=Sleeps())

    async def scene() -> int:
        runner.put(mark("a"))
        await until(lambda: bool(sink.written))
        return await runner.drain(30)

    assert play(runner, scene) == 0
    assert (sink.marks, runner.status.faults, runner.status.last_fault) == (["a"], 2, "RuntimeError")


def test_opening_early_hands_the_error_to_the_caller() -> None:
    sink = ListSink(ConfigError("no such broker"))
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP)
    with pytest.raises(ConfigError, match="no such broker"):
        asyncio.run(runner.open())


def test_bulk_waits_for_company_and_an_event_does_not() -> None:
    sink, lingering = ListSink(), asyncio.Event()

    async def for_ever(seconds: float) -> None:
        lingering.set()
        await asyncio.Event().wait()

    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, linger_s=1.0, sleep=for_ever)

    async def scene() -> None:
        for number in range(3):
            runner.put(delivery(samples(number, 1), readings(number, 1)))
        await lingering.wait()
        assert sink.written == []
        runner.put(mark("a"))
        await until(lambda: bool(sink.written))
        assert [type(record).__name__ for record in sink.written[0].records] == ["Samples", "Readings"] * 3 + ["Marked"]
        lingering.clear()
        runner.put(delivery(samples(3, 1)))
        await lingering.wait()
        assert len(sink.written) == 1

    play(runner, scene)


def test_bulk_is_written_when_the_pause_is_over() -> None:
    sink, sleeps = ListSink(), Sleeps()
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, linger_s=1.0, sleep=sleeps)

    async def scene() -> None:
        runner.put(delivery(samples(0, 1)))
        await until(lambda: bool(sink.written))

    play(runner, scene)
    assert sleeps == [1.0]


def test_newest_wins_while_the_sink_is_away() -> None:
    sink, gate = ListSink(), asyncio.Event()

    async def gated(seconds: float) -> None:
        await gate.wait()

    runner = SinkRunner(sink, DropPolicy.NEWEST_WINS, sleep=gated)

    async def scene() -> None:
        await runner.open()
        sink.failures = [UnavailableError("away")] * 3
        for step in a_run(20):
            runner.put(step)
            await asyncio.sleep(0)
        assert runner.status.queued == 2
        gate.set()
        await until(lambda: bool(sink.written))

    play(runner, scene)
    (only,) = sink.written
    assert [type(record).__name__ for record in only.records] == ["Samples", "Readings", "Marked"]
    assert sink.marks == ["mark 19"]


def test_flushing_waits_until_all_is_written_and_leaves_the_sink_open() -> None:
    sink = ListSink()

    async def for_ever(seconds: float) -> None:
        await asyncio.Event().wait()

    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, linger_s=1.0, sleep=for_ever)

    async def scene() -> int:
        runner.put(delivery(samples(0, 1)))
        runner.put(delivery(samples(1, 1)))
        left = await runner.flush(30)
        assert (len(sink.written), runner.status.written, sink.closed) == (1, 2, 0)
        runner.put(mark("after"))
        await until(lambda: sink.marks == ["after"])
        return left

    assert play(runner, scene) == 0


def test_flushing_gives_up_at_the_time_out_says_what_is_left_and_loses_nothing() -> None:
    sink = ListSink()
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP)

    async def scene() -> int:
        sink.free.clear()
        runner.put(mark("a"))
        await until(lambda: runner.status.queued == 1)
        runner.put(mark("b"))
        left = await runner.flush(0.01)
        assert (sink.marks, sink.closed) == ([], 0)
        sink.free.set()
        await until(lambda: not runner.status.queued)
        return left

    assert play(runner, scene) == 2
    assert sink.marks == ["a", "b"]


def test_draining_cuts_a_pause_short_and_tries_once_more() -> None:
    sink, sleeps = ListSink(StorageError("full")), Sleeps()
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP, back_off=BackOff(first_s=3600, most_s=3600, draw=worst))

    async def scene() -> int:
        runner.put(mark("a"))
        await until(lambda: runner.status.faults == 1)
        return await runner.drain(30)

    assert play(runner, scene) == 0
    assert (sink.marks, sink.closed, sleeps) == (["a"], 1, [])


def test_draining_gives_up_at_the_time_out_and_says_what_is_left() -> None:
    sink = ListSink()
    runner = SinkRunner(sink, DropPolicy.NEVER_DROP)

    async def scene() -> int:
        sink.free.clear()
        runner.put(mark("a"))
        await until(lambda: runner.status.queued == 1)
        runner.put(mark("b"))
        return await runner.drain(0.01)

    assert play(runner, scene) == 2
    assert sink.closed == 1


def test_draining_a_runner_that_never_ran_does_not_wait() -> None:
    runner = SinkRunner(ListSink(), DropPolicy.NEVER_DROP)
    runner.put(mark("a"))
    assert asyncio.run(runner.drain(30)) == 1


def test_a_close_that_fails_is_counted_only() -> None:
    class Bad(ListSink):
        async def close(self) -> None:
            raise OSError("cannot close")

    runner = SinkRunner(Bad(), DropPolicy.NEVER_DROP, name="bad")

    async def scene() -> int:
        return await runner.drain(30)

    assert play(runner, scene) == 0
    assert (runner.status.name, runner.status.last_fault) == ("bad", "cannot close")
