"""The end of a run: how it is asked for, and that nothing is left running."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable, Iterator, Sequence


@contextlib.contextmanager
def stopped_by_signals(stop: Callable[[], None]) -> Iterator[None]:
    """Ctrl-C and SIGTERM stop the source, so that all that was read is still measured, stored and published."""
    loop = asyncio.get_running_loop()
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    for number in before:
        signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


async def end(tasks: Sequence[asyncio.Task[None]]) -> None:
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
