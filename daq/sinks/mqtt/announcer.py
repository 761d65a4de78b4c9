"""Announces what the store has committed, in order, and tells the store once the broker has acknowledged."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Callable, Sequence
from typing import Protocol

from daq.errors import StorageError
from daq.sinks.mqtt.live import Publish
from daq.sinks.mqtt.pace import Pace

MOST_PER_S = 50.0
SLACK_S = 0.1
BATCH = 50
LOOK_EACH_S = 1.0
RETAINED = {"reading": "last", "verdict": "verdict"}

_log = logging.getLogger(__name__)


class OutboxItem(Protocol):
    """A committed reading or event with its ready body. `id` rises in the order of the stream."""

    @property
    def id(self) -> int: ...

    @property
    def stream(self) -> str: ...

    @property
    def seq(self) -> int: ...

    @property
    def body(self) -> str: ...

    @property
    def cylinder(self) -> int | None: ...


class Outbox(Protocol):
    """What the store keeps for the broker. Its methods belong to the event loop and may raise StorageError."""

    on_committed: Callable[[], None]
    """Set by the announcer; the store calls it when there is something new."""

    def pending(self, limit: int) -> Sequence[OutboxItem]:
        """The oldest ones not yet announced, in order."""
        ...

    def announced(self, ids: Sequence[int]) -> None: ...


class Announcer:
    """`on_retained` is told what goes to a retained topic: the newest reading of a cylinder, and the verdict on it.

    Acknowledged but not yet marked when something breaks: it is announced twice, and a reader drops the second by
    its identity. Never the other way round.
    """

    def __init__(self, outbox: Outbox, on_retained: Callable[[str, str], None], mono_s: Callable[[], float]) -> None:
        self._outbox, self._on_retained, self._mono_s = outbox, on_retained, mono_s
        self._news = asyncio.Event()
        outbox.on_committed = self._news.set

    async def run(self, publish: Publish) -> None:
        """Announce for as long as the connection lasts. A store that fails is asked again."""
        pace = self._pace()
        while True:
            self._news.clear()
            try:
                if await self._announce_some(publish, pace):
                    continue
            except StorageError as error:
                _log.warning("outbox: %s", error)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LOOK_EACH_S):
                    await self._news.wait()

    async def drain(self, publish: Publish) -> None:
        """Announce what is there, then return."""
        pace = self._pace()
        while await self._announce_some(publish, pace):
            pass

    def _pace(self) -> Pace:
        """A new connection begins without credit, so that a backlog does not start with a burst."""
        return Pace(MOST_PER_S, SLACK_S, from_s=self._mono_s() + SLACK_S)

    async def _announce_some(self, publish: Publish, pace: Pace) -> bool:
        """Whether there was anything."""
        items = self._outbox.pending(BATCH)
        acknowledged: list[int] = []
        try:
            for item in items:
                await asyncio.sleep(pace.wait_s(self._mono_s()))
                pace.take(self._mono_s())
                await self._announce(item, publish)
                acknowledged.append(item.id)
        finally:
            if acknowledged:
                self._outbox.announced(acknowledged)
        return bool(items)

    async def _announce(self, item: OutboxItem, publish: Publish) -> None:
        """A reading goes to the retained topic of its cylinder as well; a verdict has no other."""
        if item.stream != "verdict":
            await publish(item.stream, item.body)
        if item.stream in RETAINED and item.cylinder is not None:
            name = f"{RETAINED[item.stream]}/{item.cylinder}"
            self._on_retained(name, item.body)
            await publish(name, item.body)
