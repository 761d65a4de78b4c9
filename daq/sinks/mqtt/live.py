"""The live stream: the newest tick wins, at once if the budget allows, and never from a queue."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from daq.records import Readings
from daq.sinks.mqtt.pace import Pace
from daq.sinks.topics import LIVE_MOST_PER_S

SLACK_S = 0.02
NEXT_TICK_S = 0.15
"""Ticks come two at a time, 100 ms apart and less exactly from a busy line; what is later than this has stopped."""
Publish = Callable[[str, str], Awaitable[None]]


class LiveFeed:
    """`render` makes the body of the rows it is given, when they are about to be sent."""

    def __init__(self, render: Callable[[Readings, float], str], mono_s: Callable[[], float]) -> None:
        self._render, self._mono_s = render, mono_s
        self._newest: tuple[Readings, float] | None = None
        self._fresh = asyncio.Event()

    def put(self, rows: Readings, utc_offset_s: float) -> None:
        """Never waits; what was not sent yet is forgotten. Not to be called while there is no connection."""
        if rows.t_s.size:
            self._newest = rows, utc_offset_s
            self._fresh.set()

    async def run(self, publish: Publish) -> None:
        """Publish what comes from now on, for as long as the connection lasts."""
        pace = Pace(LIVE_MOST_PER_S, SLACK_S)
        try:
            while True:
                await self._fresh.wait()
                self._fresh.clear()
                wait_s = pace.wait_s(self._mono_s())
                if wait_s > 0 and await self._newer_within(wait_s + NEXT_TICK_S):
                    continue
                pace.take(self._mono_s())
                if self._newest is not None:
                    await publish("live", self._render(*self._newest))
        finally:
            self._fresh.clear()

    async def _newer_within(self, wait_s: float) -> bool:
        """Ticks come twice as fast as they may be sent: to wait for the next sends fresh ones, not old ones late."""
        try:
            async with asyncio.timeout(wait_s):
                await self._fresh.wait()
        except TimeoutError:
            return False
        return True
