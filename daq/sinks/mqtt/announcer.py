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
    """`on_last` is told the newest reading of a cylinder, as it goes to the retained topic as well.

    Acknowledged but not yet marked when something breaks: it is announced twice, and a reader drops the second by
    its identity. Never the other way round.
    """

    def __init__(self, outbox: Outbox, on_last: Callable[[str, str], None], mono_s: Callable[[], float]) -> None:
        self._outbox, self._on_last, self._mono_s = outbox, on_last, mono_s
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
        await publish(item.stream, item.body)
        if item.stream == "reading" and item.cylinder is not None:
            name = f"last/{item.cylinder}"
            self._on_last(name, item.body)
            await publish(name, item.body)
