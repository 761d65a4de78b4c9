"""An event loop whose clock jumps to the next timer instead of waiting for it: time passes, but none is spent."""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import Coroutine
from typing import Any, TypeVar

Result = TypeVar("Result")


class _NoWaiting(selectors.DefaultSelector):
    """Where the loop would sleep, its clock moves on."""

    now_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        events = super().select(0)
        if not events and timeout:
            self.now_s += timeout
        return events


class VirtualLoop(asyncio.SelectorEventLoop):
    def __init__(self) -> None:
        self.selector = _NoWaiting()
        super().__init__(self.selector)

    def time(self) -> float:
        return self.selector.now_s


def run(scene: Coroutine[Any, Any, Result]) -> Result:
    """`asyncio.run` in virtual time."""
    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(scene)


def now_s() -> float:
    """The virtual clock, for what takes a clock as an argument."""
    return asyncio.get_running_loop().time()
