"""What the open pages are told: the newest of each state, and a short tail of what happened. No network here.

Nothing waits for a page. A page that is slow finds, when it looks again, the newest state and the tail; what has left
the tail meanwhile it is told of as a number. So neither the flow nor memory depends on who looks.
"""

from __future__ import annotations

import asyncio
import json
from collections import deque
from collections.abc import AsyncIterator, Collection

KEPT = 400
"""Happenings in the tail."""
FIRST_LOOK = 80
"""So many of them are told to a page that has just been opened."""
FLEETING = ("live", "beat")
"""What is worth nothing a moment later: a page that comes then waits for the next one."""


class Hub:
    """`boot` names this run of the daemon: places in the tail of another run mean nothing here."""

    def __init__(self, boot: str, kept: int = KEPT) -> None:
        self._boot = boot
        self._version = 0
        self._states: dict[str, tuple[int, bytes]] = {}
        self._tail: deque[tuple[int, bytes]] = deque(maxlen=kept)
        self._told = 0
        self._shown = (0, 0)
        self._waiting: set[asyncio.Event] = set()
        self._closed = False

    @property
    def pages(self) -> int:
        """How many look now."""
        return len(self._waiting)

    def put(self, name: str, body: str) -> None:
        """A new state; the one before is forgotten."""
        self._version += 1
        self._states[name] = (self._version, message(name, body))

    def happened(self, name: str, body: str) -> None:
        """Something to be told once."""
        self._told += 1
        self._tail.append((self._told, message(name, body, f"{self._boot}:{self._told}")))

    def pulse(self) -> None:
        """Let those who wait look at what was put, if anything was."""
        if self._shown != (self._version, self._told):
            self._shown = (self._version, self._told)
            self._wake()

    def close(self) -> None:
        self._closed = True
        self._wake()

    def _wake(self) -> None:
        for wake in self._waiting:
            wake.set()

    async def follow(self, after: str = "") -> AsyncIterator[bytes]:
        """Server-sent events for one page, until closed; `after` is the id of the last one it has seen."""
        wake, place = asyncio.Event(), self._place(after)
        seen = 0
        without: tuple[str, ...] = FLEETING
        self._waiting.add(wake)
        try:
            while not self._closed:
                wake.clear()
                part = self._news(seen, place, without)
                seen, place, without = self._version, self._told, ()
                if part:
                    yield part
                await wake.wait()
        finally:
            self._waiting.discard(wake)

    def _place(self, after: str) -> int:
        boot, _, number = after.rpartition(":")
        if boot == self._boot and number.isascii() and number.isdecimal():
            return min(int(number), self._told)
        return max(0, self._told - min(len(self._tail), FIRST_LOOK))

    def _news(self, seen: int, place: int, without: Collection[str]) -> bytes:
        states = [body for name, (version, body) in self._states.items() if version > seen and name not in without]
        told = [body for number, body in self._tail if number > place] if self._told > place else []
        missed = self._told - place - len(told)
        lost = [message("missed", json.dumps({"number": missed}))] if missed > 0 else []
        return b"".join([*lost, *told, *states])


def message(name: str, body: str, number: str = "") -> bytes:
    """One server-sent event; `body` is JSON on one line. Ref: WHATWG HTML, 9.2.5 "Parsing an event stream"."""
    head = f"id: {number}\n" if number else ""
    return f"event: {name}\n{head}data: {body}\n\n".encode()
