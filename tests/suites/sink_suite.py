"""What every sink must do, whatever stands behind it. A test file subclasses it and says how to make one."""

from __future__ import annotations

import asyncio
from abc import abstractmethod
from collections.abc import Coroutine
from pathlib import Path
from typing import Any, TypeVar

from daq.sinks.base import DropPolicy, Sink, SinkRunner
from tests.suites.deliveries import a_run, delivery, every_event, readings, samples

Result = TypeVar("Result")


class SinkSuite:
    policy = DropPolicy.NEVER_DROP

    @abstractmethod
    def make(self, folder: Path) -> Sink:
        """A sink that has not been opened, keeping its things in `folder`."""

    @abstractmethod
    def taken(self, folder: Path, sink: Sink) -> list[str]:
        """The types of the events that the sink took, in order, asked after it was closed."""

    def test_takes_every_type_of_event_in_order(self, tmp_path: Path) -> None:
        sink = self.make(tmp_path)
        _run(_write(sink, delivery(samples(0, 10), readings(0.0, 1), *every_event())))
        assert self.taken(tmp_path, sink) == [type(event).__name__ for event in every_event()]

    def test_takes_deliveries_of_several_segments_and_an_empty_one(self, tmp_path: Path) -> None:
        sink = self.make(tmp_path)
        first, second = every_event(1)[:3], every_event(2)[:3]
        _run(_write(sink, delivery(samples(0, 4, 1), *first, samples(0, 4, 2), *second), delivery(), delivery()))
        assert self.taken(tmp_path, sink) == [type(event).__name__ for event in first + second]

    def test_closes_before_it_was_opened_and_twice(self, tmp_path: Path) -> None:
        sink = self.make(tmp_path)

        async def scene() -> None:
            await sink.close()
            await sink.close()

        _run(scene())

    def test_behind_a_runner_a_drained_run_is_all_there(self, tmp_path: Path) -> None:
        sink = self.make(tmp_path)
        runner = SinkRunner(sink, self.policy, linger_s=0.05)

        async def scene() -> int:
            task = asyncio.create_task(runner.run())
            for step in a_run(100):
                runner.put(step)
                await asyncio.sleep(0)
            left = await runner.drain(30)
            await task
            return left

        assert _run(scene()) == 0
        assert (runner.status.queued, runner.status.failing, runner.status.last_fault) == (0, False, "")
        if self.policy is DropPolicy.NEVER_DROP:
            assert (runner.status.written, runner.status.dropped) == (100, 0)
            assert self.taken(tmp_path, sink) == ["Marked"] * 10


async def _write(sink: Sink, *deliveries: Any) -> None:
    await sink.open()
    for each in deliveries:
        await sink.write(each)
    await sink.close()
    await sink.close()


def _run(scene: Coroutine[Any, Any, Result]) -> Result:
    return asyncio.run(scene)
