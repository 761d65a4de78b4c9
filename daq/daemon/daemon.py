"""One source, one driver, many sinks. Starts them, lets the flow run, and shuts down with it."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from dataclasses import asdict, replace
from typing import Protocol

from daq.broker_settings import mqtt_settings
from daq.config import Config
from daq.daemon.bench import calibration_in_force, new_boot_id, software
from daq.daemon.health import Health, free_bytes, size_bytes
from daq.daemon.shutdown import end, stopped_by_signals
from daq.driver import Driver
from daq.errors import BoretightError, StorageError
from daq.page import Daemon as PageDaemon
from daq.page import page_sink
from daq.pipeline import Pipeline
from daq.planning import misfits, plan_by_itself, plan_of, profile_of, request_from
from daq.procedure import TestPlan, plan_from
from daq.records import Chunk, Delivery, Input, Mark, MarkKind, Resume
from daq.sinks.base import DropPolicy, Sink, SinkRunner, SinkStatus
from daq.sinks.broker import PROTOCOL as EMBEDDED_PROTOCOL
from daq.sinks.broker import EmbeddedBroker
from daq.sinks.disk import storage_errors
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.mqtt.sink import MqttSink
from daq.sinks.payloads import BenchDescription, StatusFields, rfc3339
from daq.sinks.raw_log import RawLogHeader, RawLogWriter
from daq.sinks.store.boot import Boot
from daq.sinks.store.engine_tests import is_stored
from daq.sinks.store.store import Store
from daq.steering import Steering, name_is_taken
from daq.wire import BadReason

STORE_LINGER_S = 1.0
DRAIN_S = 5.0
OLD_SAMPLE_S = 3.0
OUTBOX_COUNTED = 1000

_log = logging.getLogger(__name__)


class Source(Protocol):
    """Where inputs come from. `trouble` says why there is no board now."""

    trouble: BoretightError | None

    def inputs(self) -> AsyncIterator[Input]: ...
    def inject(self, item: Input) -> None: ...
    def stop(self) -> None: ...


class Daemon:
    """`await Daemon(config, source).run()` until the source ends or a signal stops it.

    Everything that can be wrong with configuration, disk or database is raised before the first byte is read.
    """

    def __init__(
        self,
        config: Config,
        source: Source,
        watchers: Sequence[Sink] = (),
        on_broker: Callable[[MqttSettings], None] = lambda settings: None,
        on_page: Callable[[str], None] = lambda link: None,
    ) -> None:
        """`on_broker` is told where the bench is published, `on_page` where its page is, once that is known."""
        self.config, self._source, self._on_broker, self._on_page = config, source, on_broker, on_page
        self.boot_id = new_boot_id(time.time())
        instrument, calibration = config.measuring_instrument(), calibration_in_force(config, _log.warning)
        plan = plan_by_itself(config, self.boot_id)
        self._driver = Driver(Pipeline(instrument, calibration, plan))
        self._plan = plan
        self._steering = Steering(self._plan_of, plan.engine)
        self._bench = BenchDescription(instrument, calibration, config.display.pressure, software())
        self._health = Health(lines=self._driver.pipeline.lines)
        self._watchers = watchers
        self._runners: list[SinkRunner] = []
        self._mqtt_sink: MqttSink | None = None

    async def run(self) -> None:
        async with contextlib.AsyncExitStack() as stack:
            await self._start(stack)
            with stopped_by_signals(self._source.stop):
                await self._flow()

    # ---- start

    async def _start(self, stack: contextlib.AsyncExitStack) -> None:
        """Storage first: what is published must have been stored. The sinks end in the reverse order."""
        self._raw_log = self._begin_raw_log()
        stack.callback(self._raw_log.close)
        self._store = self._new_store()
        store = SinkRunner(self._store, DropPolicy.NEVER_DROP, name="store", linger_s=STORE_LINGER_S)
        await self._open_store(store)
        stack.push_async_callback(self._store.close)  # in case the start fails; after a run it is closed already
        runners = [store]
        if self.config.page.enabled:
            runners.append(await self._page(stack))
        if self.config.mqtt.enabled:  # last: it tells at once how things stand, and the line is opened right after
            self._mqtt_sink = await self._mqtt(stack)
            mqtt = SinkRunner(self._mqtt_sink, DropPolicy.NEVER_DROP, name="mqtt", capacity=40)
            await mqtt.open()
            runners.append(mqtt)
        runners += [SinkRunner(watcher, DropPolicy.NEVER_DROP, capacity=40) for watcher in self._watchers]
        self._runners = runners
        tasks = [asyncio.create_task(runner.run(), name=runner.name) for runner in runners]
        stack.push_async_callback(end, tasks)

    async def _open_store(self, runner: SinkRunner) -> None:
        """A test that the run before was in the middle of is gone on with, from where it stood."""
        try:
            await runner.open()
        except BoretightError:
            self._raw_log.close()
            self._raw_log.path.unlink(missing_ok=True)
            raise
        if (broken_off := self._store.unfinished) is not None:
            self._steering.recall(broken_off.events)
            self._source.inject(Resume(time.time(), (*broken_off.before, *broken_off.events)))

    async def _mqtt(self, stack: contextlib.AsyncExitStack) -> MqttSink:
        settings = await self._broker(stack)
        self._on_broker(settings)
        return MqttSink(
            settings, outbox=self._store.outbox, bench=self._bench, boot=self.boot_id,
            status_source=self.status, on_mark=self.take,
        )  # fmt: skip

    async def _page(self, stack: contextlib.AsyncExitStack) -> SinkRunner:
        """Events are never dropped on the way to it: that it counts them as the store does makes one contract. What
        gives way to slow browsers is behind it, in its hub."""
        broken_off = self._store.unfinished
        past = (*broken_off.before, *broken_off.events) if broken_off else ()
        sink = page_sink(
            self.config,
            self._bench,
            PageDaemon(
                self.boot_id, self._plan, past, self.status, self.take, self._broker_word, self._on_page
            ),
        )  # fmt: skip
        runner = SinkRunner(sink, DropPolicy.NEVER_DROP, name="page", capacity=40)
        stack.push_async_callback(sink.close)
        stack.callback(self.config.storage.page_link.unlink, missing_ok=True)
        await runner.open()
        return runner

    def _broker_word(self) -> str:
        if self._mqtt_sink is None:
            return "off"
        return "connected" if self._mqtt_sink.connected else "away"

    async def _broker(self, stack: contextlib.AsyncExitStack) -> MqttSettings:
        """Our own broker is started for as long as the daemon runs; the user's is taken as configured."""
        settings = mqtt_settings(self.config)
        if not self.config.mqtt.embedded:
            return settings
        broker = await stack.enter_async_context(EmbeddedBroker(settings.port))
        return replace(settings, port=broker.port, protocol=EMBEDDED_PROTOCOL)

    # ---- the flow

    async def _flow(self) -> None:
        """Raw log, then pipeline, then sinks.

        At the end the store is flushed first, so that the others can announce all of it, and is closed last, so that
        it can note what they have announced.
        """
        try:
            async for item in self._source.inputs():
                self._keep(item)
                self._hand_out(self._driver.step(item), item)
        finally:
            self._hand_out(self._driver.finish(), None)
            store, *others = self._runners
            await store.flush(DRAIN_S)
            for runner in [*others, store]:
                if left := await runner.drain(DRAIN_S):
                    _log.warning("sink %s: %d deliveries could not be written before the end", runner.name, left)

    def _keep(self, item: Input) -> None:
        """The raw log never stops the flow: a full disk is a fault that status tells, and is tried again."""
        try:
            self._raw_log.append(item)
        except StorageError as error:
            _log.warning("%s", error)

    def take(self, mark: Mark) -> str:
        """What an operator asks for, from wherever; a remark on it, or UsageError if it makes no sense now."""
        checked = self._steering.checked(mark)
        self._source.inject(checked)
        if checked.kind != MarkKind.START:
            return ""
        return " ".join(misfits(profile_of(plan_from(checked.text)), self._bench.instrument))

    def _plan_of(self, request: str) -> TestPlan:
        plan = plan_of(self.config, request_from(request), time.time())
        if is_stored(self.config.storage.database, plan.test):
            raise name_is_taken(plan.test)
        return plan

    def _hand_out(self, delivery: Delivery, item: Input | None) -> None:
        self._steering.observe(delivery)
        if isinstance(item, Chunk):
            self._health.observe(delivery, item.arrived_s)
        elif item is not None:
            self._health.observe(delivery, item.at_s)
        if delivery.records:
            for runner in self._runners:
                runner.put(delivery)

    # ---- health

    def status(self) -> StatusFields:
        """The state of everything, for whoever asks; cheap enough for several times a second."""
        health, statuses = self._health, [runner.status for runner in self._runners]
        return StatusFields(
            line="up" if health.line_up else "down" if self._source.trouble is None else "searching",
            line_detail="" if health.line_up or self._source.trouble is None else self._source.trouble.what,
            faults=tuple(self._faults(statuses)),
            newest_sample_age_s=self._age_s(),
            samples=health.lines["samples"],
            missing_samples=health.lines["missing"],
            bad_lines=sum(health.lines[reason.value] for reason in BadReason),
            board_restarts=health.restarts,
            dropped_records=sum(status.dropped for status in statuses),
            queue_depth=sum(status.queued for status in statuses),
            outbox_depth=len(self._store.outbox.pending(OUTBOX_COUNTED)),
            disk_free_bytes=free_bytes(self.config.storage.folder),
            database_bytes=size_bytes(self.config.storage.database),
        )

    def _faults(self, statuses: Sequence[SinkStatus]) -> Iterator[str]:
        """Words, each a thing that somebody should look after."""
        if self._raw_log.fault:
            yield "raw-log-not-written"
        for status in statuses:
            if status.failing:
                yield f"{status.name}-failing"
        if self._health.silent_s(time.time()) > OLD_SAMPLE_S:
            yield "no-samples"

    def _age_s(self) -> float | None:
        newest_s = self._health.newest_sample_s
        return None if newest_s is None else max(0.0, time.time() - newest_s)

    # ---- storage

    def _begin_raw_log(self) -> RawLogWriter:
        """A folder that has to be made is the user's alone. Ref: XDG Base Directory Specification, "Referencing"."""
        with storage_errors(self.config.storage.folder, "make the folder of the database and the raw logs"):
            self.config.storage.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        header = RawLogHeader(
            self.config.bench, self.boot_id, rfc3339(time.time()), software(),
            self.config.model_dump(mode="json"), asdict(self._bench.calibration),
        )  # fmt: skip
        keep_bytes = self.config.storage.raw_log_limit_mb << 20
        return RawLogWriter(self.config.storage.raw_logs, header, keep_bytes=keep_bytes)

    def _new_store(self) -> Store:
        boot = Boot(
            self.config.bench, self.boot_id, software(), str(self._raw_log.path), self.config.model_dump(mode="json")
        )
        return Store(
            self.config.storage.database, boot, calibrations=[self._bench.calibration],
            announce=self.config.mqtt.enabled, unit=self.config.display.pressure,
        )  # fmt: skip
