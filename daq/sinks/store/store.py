"""The store: a sink that commits what it is given to an SQLite database, and keeps what is to be announced."""

from __future__ import annotations

import asyncio
import logging
import platform
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

from daq.errors import StorageError
from daq.records import Calibration, Delivery
from daq.sinks.disk import storage_errors
from daq.sinks.store.boot import Boot, Unfinished, register, unfinished
from daq.sinks.store.connection import connect, database_errors, open_for_writing
from daq.sinks.store.database import Database
from daq.sinks.store.lock import DatabaseLock
from daq.sinks.store.outbox import Job, Outbox, OutboxItem, load
from daq.sinks.store.rows import utc_text
from daq.sinks.store.writer import Identity, Renderer, Writer
from daq.units import PressureUnit

_log = logging.getLogger(__name__)

FORGET_S = 12 * 3600.0
"""A test that was broken off longer ago than this is not gone on with."""

Result = TypeVar("Result")


class Store:
    """One writer: the connection lives in a thread of its own, and a lock keeps other daemons away.

    What `write` has taken survives kill -9 and a loss of power. It raises StorageError, having stored nothing of the
    delivery, when the disk or the database refuses; to try again later is right. `announce` False, as for a replay:
    nothing goes to the outbox. `goes_on` False: no test of an
    earlier run is gone on with. `renderer` makes the messages; by default `daq.sinks.payloads`.
    """

    def __init__(
        self,
        path: Path,
        boot: Boot,
        *,
        calibrations: Sequence[Calibration] = (),
        announce: bool = True,
        goes_on: bool = True,
        renderer: Renderer | None = None,
        unit: PressureUnit = PressureUnit.PSI,
        now: Callable[[], float] = time.time,
    ) -> None:
        self.path = path
        self._boot, self._calibrations, self._unit, self._now = boot, calibrations, unit, now
        self._announce, self._goes_on, self._renderer = announce, goes_on, renderer
        self.unfinished: Unfinished | None = None
        """After `open`: the test that the last run of this bench was in the middle of, to be gone on with."""
        self.outbox = Outbox(self._later, now)
        self._executor: ThreadPoolExecutor | None = None
        self._lock: DatabaseLock | None = None
        self._database: Database | None = None
        self._writer: Writer | None = None

    async def open(self) -> None:
        """StorageError or ConfigError, leaving the file as it was, if it cannot be this run's database."""
        self._executor = ThreadPoolExecutor(max_workers=1, thread_name_prefix="store")
        try:
            bench_id, waiting = await self._in_thread(self._open)
        except BaseException:
            await self.close()
            raise
        self.outbox.begin(bench_id, waiting)

    async def write(self, delivery: Delivery) -> None:
        self.outbox.add(await self._in_thread(lambda: self._write(delivery)))

    async def close(self) -> None:
        if self._executor is not None:
            try:
                await self._in_thread(self._close)
            finally:
                self._executor.shutdown(wait=False)
                self._executor = None

    async def _in_thread(self, job: Callable[[], Result]) -> Result:
        if self._executor is None:
            raise StorageError("The store is not open.", "A mistake of the program, not yours: tell it, with the log.")
        return await asyncio.get_running_loop().run_in_executor(self._executor, job)

    def _later(self, job: Job, then: Callable[[list[OutboxItem] | None], None]) -> None:
        """See Outbox. After the end, when messages are announced that were still waiting, it is done on the spot."""
        if self._executor is None:
            then(self._result(lambda: self._after_the_end(job)))
        else:
            future = asyncio.get_running_loop().run_in_executor(self._executor, self._now_and_here, job)
            future.add_done_callback(lambda done: then(self._result(done.result)))

    def _result(self, job: Callable[[], list[OutboxItem]]) -> list[OutboxItem] | None:
        try:
            return job()
        except (StorageError, asyncio.CancelledError) as error:
            _log.warning("the outbox: %s", error)
            return None

    # ---- in the thread of the database

    def _open(self) -> tuple[int, list[OutboxItem]]:
        with storage_errors(self.path.parent, "make the folder of the database"):
            self.path.parent.mkdir(parents=True, exist_ok=True)
        self._lock = DatabaseLock(self.path, f"bench {self._boot.bench} on {platform.node()}")
        self._database = open_for_writing(self.path)
        with database_errors(self.path, "write"):
            if self._goes_on:
                self.unfinished = unfinished(self._database, self._boot.bench, utc_text(self._now() - FORGET_S))
            boot_id, bench_id = register(self._database, self._boot, self._calibrations, utc_text(self._now()))
            identity = Identity(boot_id, self._boot.bench, self._boot.name, self._unit)
            test_id = self.unfinished.test_id if self.unfinished else None
            self._writer = Writer(self._database, identity, self._messages(), test_id)
            return bench_id, load(self._database, bench_id) if self._announce else []

    def _messages(self) -> Renderer | None:
        if self._renderer is None and self._announce:
            from daq.sinks import payloads

            return payloads
        return self._renderer if self._announce else None

    def _write(self, delivery: Delivery) -> list[OutboxItem]:
        assert self._writer is not None
        with database_errors(self.path, "write"):
            return self._writer.write(delivery)

    def _now_and_here(self, job: Job) -> list[OutboxItem]:
        assert self._database is not None
        with database_errors(self.path, "write"):
            return job(self._database)

    def _after_the_end(self, job: Job) -> list[OutboxItem]:
        with database_errors(self.path, "write"):
            database = connect(self.path)
            try:
                return job(database)
            finally:
                database.close()

    def _close(self) -> None:
        """Whatever happens, file and lock are given back."""
        try:
            with database_errors(self.path, "close"):
                if self._writer is not None:
                    self._writer.finish(utc_text(self._now()))
        finally:
            if self._database is not None:
                self._database.close()
            if self._lock is not None:
                self._lock.release()
            self._writer = self._database = self._lock = None
