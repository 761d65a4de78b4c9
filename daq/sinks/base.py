"""What every sink has in common: three verbs, and one wrapper that owns its queue, batches, retries and losses.

A sink only knows how to take one delivery. Whatever it does, slow, hanging, failing or raising, stays behind its
`SinkRunner`: `put` never waits, so acquisition is never held up.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Protocol

from daq.errors import StorageError, UnavailableError
from daq.records import Delivery
from daq.sinks.backlog import DropPolicy, backlog, is_event, join

__all__ = ["BackOff", "DropPolicy", "Sink", "SinkRunner", "SinkStatus"]

_log = logging.getLogger(__name__)

TRANSIENT = (StorageError, UnavailableError, OSError)
"""Errors that may pass by waiting. Anything else is a fault of one delivery, or of the program."""

DRAINING_DELAY_S = 0.2
FLUSH_POLL_S = 0.01
CLOSE_TIMEOUT_S = 5.0


class Sink(Protocol):
    """A place that records go to.

    `write` returns when the delivery is safe as far as this sink can make it so, or raises: StorageError,
    UnavailableError or OSError for what may pass, having kept nothing of the delivery. `close` may be called at any
    time, also twice and before `open`.
    """

    async def open(self) -> None: ...

    async def write(self, delivery: Delivery) -> None: ...

    async def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class SinkStatus:
    """How a sink keeps up. Deliveries are counted in `queued` and `written`, records in `dropped`."""

    name: str
    queued: int
    written: int
    dropped: int
    dropped_events: int
    faults: int
    failing: bool
    last_fault: str


@dataclass(frozen=True, slots=True)
class BackOff:
    """Exponential with full jitter: any time between nothing and the doubled limit.

    Ref: M. Brooker, "Exponential Backoff And Jitter", AWS Architecture Blog, 2015.
    """

    first_s: float = 0.1
    most_s: float = 10.0
    draw: Callable[[float, float], float] = random.uniform

    def delay_s(self, failures: int) -> float:
        return self.draw(0.0, min(self.most_s, self.first_s * 2.0 ** min(failures, 32)))


class SinkRunner:
    """Runs one sink. All methods belong to the event loop's thread.

    `capacity` is the number of deliveries that wait whole (see `DropPolicy` for what gives way after that),
    `linger_s` how long one without events may wait for company; one with events is written at once.
    `batch` deliveries at most are written together, and are in hand besides the ones that wait.
    """

    def __init__(
        self,
        sink: Sink,
        policy: DropPolicy,
        *,
        name: str = "",
        capacity: int = 1200,
        linger_s: float = 0.0,
        batch: int = 200,
        back_off: BackOff | None = None,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.name = name or type(sink).__name__.lower()
        self._sink, self._sleep = sink, sleep
        self._backlog = backlog(policy, capacity)
        self._linger_s, self._most, self._back_off = linger_s, batch, back_off or BackOff()
        self._in_hand: list[Delivery] = []
        self._opened = False
        self._written = self._faults = self._given_up = self._given_up_events = 0
        self._failing, self._last_fault = False, ""
        self._something, self._hurry, self._draining = asyncio.Event(), asyncio.Event(), asyncio.Event()
        self._finished = asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    @property
    def status(self) -> SinkStatus:
        return SinkStatus(
            name=self.name,
            queued=len(self._backlog) + len(self._in_hand),
            written=self._written,
            dropped=self._backlog.dropped + self._given_up,
            dropped_events=self._backlog.dropped_events + self._given_up_events,
            faults=self._faults,
            failing=self._failing,
            last_fault=self._last_fault,
        )

    def put(self, delivery: Delivery) -> None:
        """Queue a delivery; an empty one is nothing. Never waits and never raises."""
        if not delivery.records:
            return
        self._backlog.put(delivery)
        self._something.set()
        if any(map(is_event, delivery.records)):
            self._hurry.set()

    async def open(self) -> None:
        """Open the sink, once; errors are the caller's. Optional: `run` opens too, and there it retries."""
        if not self._opened:
            await self._sink.open()
            self._opened = True

    async def run(self) -> None:
        """Write what is put, until drained or cancelled; then close the sink. Raises nothing of the sink's."""
        self._task = asyncio.current_task()
        try:
            await self._insist_on_opening()
            while await self._wait_for_work():
                self._take_in_hand()
                await self._write_in_hand()
        finally:
            await self._close()
            self._finished.set()

    async def flush(self, timeout_s: float) -> int:
        """Wait until what was put is written, the sink staying open; returns how many deliveries are left over."""
        self._hurry.set()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(timeout_s):
                while self.status.queued:
                    await asyncio.sleep(FLUSH_POLL_S)
        return self.status.queued

    async def drain(self, timeout_s: float) -> int:
        """Shutdown with the flow: write what waits, close the sink, and return how many deliveries were left over.

        To be called when nothing puts any more. After `timeout_s` the sink is cancelled.
        """
        self._draining.set()
        self._hurry.set()
        self._something.set()
        await asyncio.sleep(0)  # a task made just now has not yet reached `run`
        if self._task is not None:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._finished.wait(), timeout_s)
            self._task.cancel()
            await asyncio.wait({self._task}, timeout=CLOSE_TIMEOUT_S)
        return self.status.queued

    async def _wait_for_work(self) -> bool:
        """True as soon as a batch is due; False when drained."""
        while not len(self._backlog):
            if self._draining.is_set():
                return False
            self._something.clear()
            await self._something.wait()
        if self._linger_s > 0 and not self._hurry.is_set():
            await self._first_of(self._sleep(self._linger_s), self._hurry.wait())
        return True

    def _take_in_hand(self) -> None:
        self._in_hand = self._backlog.take(self._most)
        if not len(self._backlog) and not self._draining.is_set():
            self._hurry.clear()

    async def _insist_on_opening(self) -> None:
        failures = 0
        while not self._opened:
            try:
                await self.open()
            except Exception as error:
                self._note(error)
                await self._wait_before_trying_again(failures)
                failures += 1
        self._failing = False

    async def _write_in_hand(self) -> None:
        """Write what is in hand, however long it takes: together, or one by one after a refusal, so that only the
        delivery that cannot be written is given up."""
        failures, together = 0, len(self._in_hand)
        while self._in_hand:
            part = self._in_hand[:together]
            try:
                await self._sink.write(join(part))
            except TRANSIENT as error:
                self._note(error)
                await self._wait_before_trying_again(failures)
                failures += 1
                self._in_hand = self._backlog.renew(self._in_hand)
            except Exception as error:
                self._note(error)
                together = 1
                if len(part) == 1:
                    self._give_up(self._in_hand.pop(0))
            else:
                self._written += len(part)
                del self._in_hand[: len(part)]
                self._failing, failures = False, 0

    def _give_up(self, delivery: Delivery) -> None:
        self._given_up += len(delivery.records)
        self._given_up_events += sum(is_event(record) for record in delivery.records)

    async def _wait_before_trying_again(self, failures: int) -> None:
        delay_s = self._back_off.delay_s(failures)
        if self._draining.is_set():
            await self._sleep(min(delay_s, DRAINING_DELAY_S))
        else:
            await self._first_of(self._sleep(delay_s), self._draining.wait())

    async def _first_of(self, *waits: Awaitable[object]) -> None:
        tasks = [asyncio.ensure_future(wait) for wait in waits]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()

    async def _close(self) -> None:
        try:
            async with asyncio.timeout(CLOSE_TIMEOUT_S):
                await self._sink.close()
        except Exception as error:
            self._note(error)

    def _note(self, error: Exception) -> None:
        """Count a fault; say so in the log once for each run of them."""
        self._faults += 1
        self._last_fault = str(error) or type(error).__name__
        if not self._failing:
            _log.warning("sink %s: %s", self.name, self._last_fault, exc_info=not isinstance(error, TRANSIENT))
        self._failing = True
