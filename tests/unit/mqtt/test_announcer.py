from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Sequence
from dataclasses import replace

import pytest

from daq.errors import StorageError
from daq.records import CylinderJudged, Marked
from daq.sinks.mqtt.announcer import Announcer, OutboxItem
from tests.suites.deliveries import every_event, stable
from tests.suites.mqtt_bench import MemoryOutbox
from tests.suites.virtual_time import now_s, run


class Wire:
    """Takes what is published; `broken_after` messages it breaks, the last of them being lost or only its PUBACK."""

    def __init__(self, broken_after: int | None = None) -> None:
        self.got: list[tuple[float, str, str]] = []
        self._broken_after = broken_after

    async def publish(self, name: str, text: str) -> None:
        await asyncio.sleep(0)
        self.got.append((now_s(), name, text))
        if self._broken_after is not None and len(self.got) > self._broken_after:
            raise ConnectionError

    def names(self) -> list[str]:
        return [name for _, name, _ in self.got]


def marks(count: int) -> list[Marked]:
    return [Marked(1, float(n), "note", str(n), "operator") for n in range(count)]


def announcer(outbox: MemoryOutbox, last: dict[str, str] | None = None) -> Announcer:
    return Announcer(outbox, (last if last is not None else {}).__setitem__, now_s)


async def connected(announcing: Announcer, wire: Wire, for_s: float) -> None:
    task = asyncio.create_task(announcing.run(wire.publish))
    await asyncio.sleep(for_s)
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError, ConnectionError):
        await task


def test_a_commit_is_announced_at_once() -> None:
    outbox, wire = MemoryOutbox(), Wire()

    async def scene() -> None:
        task = asyncio.create_task(connected(announcer(outbox), wire, 10))
        await asyncio.sleep(3.3)
        outbox.store(*marks(1))
        await task

    run(scene())
    assert [(when, name) for when, name, _ in wire.got] == [(3.3, "event")]


def test_a_commit_that_nobody_told_of_is_found_within_a_second() -> None:
    outbox, wire = MemoryOutbox(), Wire()

    async def scene() -> None:
        announcing = announcer(outbox)
        outbox.on_committed = lambda: None
        task = asyncio.create_task(connected(announcing, wire, 10))
        await asyncio.sleep(3.3)
        outbox.store(*marks(1))
        await task

    run(scene())
    assert [when for when, _, _ in wire.got] == [4.0]


def test_a_backlog_goes_out_in_order_and_paced() -> None:
    outbox, wire = MemoryOutbox(), Wire()
    outbox.store(*marks(220))

    async def scene() -> None:
        await asyncio.sleep(1000)
        await connected(announcer(outbox), wire, 10)

    run(scene())
    assert [text for _, _, text in wire.got] == outbox.bodies("event")
    times = [when for when, _, _ in wire.got]
    for first, after in zip(times, times[50:], strict=False):
        assert after - first >= 1.0 - 1e-6
    assert 4.2 < times[-1] - times[0] < 4.5
    assert outbox.waiting == []


def test_a_reading_goes_to_the_retained_topic_of_its_cylinder_as_well() -> None:
    outbox, wire, last = MemoryOutbox(), Wire(), dict[str, str]()
    outbox.store(stable(1.0, 2), stable(2.0, None), stable(3.0, 2))

    run(connected(announcer(outbox, last), wire, 10))
    assert wire.names() == ["reading", "last/2", "reading", "reading", "last/2"]
    assert last == {"last/2": outbox.bodies("reading")[2]}


def test_a_verdict_goes_to_the_retained_topic_of_its_cylinder_alone() -> None:
    outbox, wire, retained = MemoryOutbox(), Wire(), dict[str, str]()
    judged = next(event for event in every_event() if isinstance(event, CylinderJudged))
    outbox.store(judged, replace(judged, cylinder=3), replace(judged, as_found=None, after_tap=None))
    run(connected(announcer(outbox, retained), wire, 10))
    assert wire.names() == ["verdict/2", "verdict/3", "verdict/2"]
    assert retained == dict(zip(("verdict/3", "verdict/2"), outbox.bodies("verdict")[1:], strict=True))


@pytest.mark.parametrize("broken_after", range(7))
def test_wherever_it_breaks_nothing_is_lost_and_order_is_kept(broken_after: int) -> None:
    """A message that raised may have arrived: it comes again, and its identity makes that harmless."""
    outbox, first, second = MemoryOutbox(), Wire(broken_after), Wire()
    outbox.store(*marks(3), stable(3.0, 1), *marks(2))

    async def scene() -> None:
        announcing = announcer(outbox)
        await connected(announcing, first, 10)
        await connected(announcing, second, 10)

    run(scene())
    bodies = [text for wire in (first, second) for _, name, text in wire.got if not name.startswith("last")]
    assert list(dict.fromkeys(bodies)) == [item.body for item in outbox.stored]
    assert len(bodies) == 7
    assert outbox.waiting == [] and outbox.announced_ids == [1, 2, 3, 4, 5, 6]


def test_nothing_is_marked_before_it_is_acknowledged() -> None:
    outbox = MemoryOutbox()
    outbox.store(*marks(2))

    async def never(name: str, text: str) -> None:
        await asyncio.sleep(1000)

    async def scene() -> None:
        task = asyncio.create_task(announcer(outbox).run(never))
        await asyncio.sleep(100)
        task.cancel()

    run(scene())
    assert outbox.announced_ids == []


def test_what_was_acknowledged_is_marked_even_if_the_rest_is_cut_off() -> None:
    outbox, wire = MemoryOutbox(), Wire()
    outbox.store(*marks(30))

    run(connected(announcer(outbox), wire, 0.25))
    assert 0 < len(wire.got) < 30
    assert outbox.announced_ids == [item.id for item in outbox.stored[: len(wire.got)]]


def test_draining_ends_when_the_outbox_is_empty() -> None:
    outbox, wire = MemoryOutbox(), Wire()
    outbox.store(*marks(60))
    run(announcer(outbox).drain(wire.publish))
    assert len(wire.got) == 60


def test_a_store_that_fails_is_asked_again() -> None:
    class Failing(MemoryOutbox):
        failures = 2

        def pending(self, limit: int) -> Sequence[OutboxItem]:  # type: ignore[override]
            if self.failures:
                self.failures -= 1
                raise StorageError("disk full")
            return super().pending(limit)

    outbox, wire = Failing(), Wire()
    outbox.store(*marks(1))
    run(connected(announcer(outbox), wire, 10))
    assert len(wire.got) == 1
