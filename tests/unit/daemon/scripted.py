"""Sources that play a script, and a sink that remembers or refuses."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable

from daq.errors import BoretightError
from daq.records import Board, Chunk, Delivery, Input, LineFormat, LinkDown, LinkUp
from simulator.scenario import load
from simulator.simulation import render

BOARD = Board(LineFormat.FRAMED, 12, rate_hz=200.0, model="scripted")
T0_S = 1_767_225_600.0  # 2026-01-01T00:00:00Z


def a_measurement(seconds: float = 6.0) -> list[Input]:
    """A board that is found, measures one cylinder long enough for a stable reading, and is lost."""
    chunks = [Chunk(T0_S + t_s, data) for t_s, data in render(load("steady"), 1, seconds)]
    return [LinkUp(T0_S, BOARD), *chunks, LinkDown(T0_S + seconds, "unplugged")]


class Scripted:
    """`look` is called between two inputs. With `endless` it goes on until it is stopped."""

    trouble: BoretightError | None = None

    def __init__(
        self, items: Iterable[Input], look: Callable[[Input], None] = lambda item: None, endless: bool = False
    ) -> None:
        self._items, self._look, self._endless = list(items), look, endless
        self._stopped = asyncio.Event()

    async def inputs(self) -> AsyncIterator[Input]:
        for item in self._items:
            yield item
            await asyncio.sleep(0)
            self._look(item)
        if self._endless:
            await self._stopped.wait()

    def inject(self, item: Input) -> None:
        self._items.append(item)

    def stop(self) -> None:
        self._stopped.set()


class Remembering:
    """Takes everything; or, with an `error`, nothing."""

    def __init__(self, error: Exception | None = None) -> None:
        self._error = error
        self.taken: list[str] = []

    async def open(self) -> None:
        pass

    async def write(self, delivery: Delivery) -> None:
        if self._error is not None:
            raise self._error
        self.taken += [type(record).__name__ for record in delivery.records]

    async def close(self) -> None:
        pass
