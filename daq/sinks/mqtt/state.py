"""The retained state of a bench: all of it anew on each connection, then only what changes, and a status that lives."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable

from daq.sinks.mqtt.live import Publish
from daq.sinks.payloads import StatusFields
from daq.sinks.topics import STATUS_EACH_S

LOOK_EACH_S = 1.0


class StateBoard:
    """Keeps the newest body of each retained topic.

    `render_status` makes the body of `status`, published each 30 s, and when its news change, at most once a second.
    """

    def __init__(
        self,
        status_source: Callable[[], StatusFields],
        render_status: Callable[[StatusFields], str],
        mono_s: Callable[[], float],
    ) -> None:
        self._source, self._render_status, self._mono_s = status_source, render_status, mono_s
        self._bodies: dict[str, str] = {}
        self._changed: dict[str, None] = {}
        self._told: tuple[object, ...] = ()
        self._told_s = float("-inf")
        self._wake = asyncio.Event()

    def put(self, name: str, body: str) -> None:
        """A new body, to be published as soon as there is a connection."""
        self.keep(name, body)
        self._changed[name] = None
        self._wake.set()

    def keep(self, name: str, body: str) -> None:
        """A body that has been published already, for the connections to come."""
        self._bodies[name] = body

    def look(self) -> None:
        """Something happened that may show in the status."""
        self._wake.set()

    async def publish_all(self, publish: Publish) -> None:
        self._renew_status(self._source())
        self._changed.clear()
        for name, body in list(self._bodies.items()):
            await publish(name, body)

    async def run(self, publish: Publish) -> None:
        """Publish changes for as long as the connection lasts."""
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LOOK_EACH_S):
                    await self._wake.wait()
            self._wake.clear()
            self._look_at_status()
            while self._changed:
                name = next(iter(self._changed))
                del self._changed[name]
                await publish(name, self._bodies[name])

    def _look_at_status(self) -> None:
        age_s = self._mono_s() - self._told_s
        if age_s < LOOK_EACH_S:
            return
        fields = self._source()
        if age_s >= STATUS_EACH_S or fields.news != self._told:
            self._renew_status(fields)

    def _renew_status(self, fields: StatusFields) -> None:
        self._told, self._told_s = fields.news, self._mono_s()
        self.put("status", self._render_status(fields))
