"""The MQTT sink: everything that a bench says to a broker, over connections that come and go."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from daq.records import Board, Delivery, LinkChange, Mark, Readings, Samples, Session
from daq.sinks.mqtt.announcer import Announcer, Outbox
from daq.sinks.mqtt.commands import CommandDesk
from daq.sinks.mqtt.connection import ProtocolChoice, Publisher, connection
from daq.sinks.mqtt.live import LiveFeed
from daq.sinks.mqtt.pace import Reconnect
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.mqtt.state import StateBoard
from daq.sinks.payloads import (
    BenchDescription,
    Stamper,
    StatusFields,
    describe_body,
    live_body,
    reply_body,
    session_body,
    status_body,
)
from daq.sinks.topics import Topics

if TYPE_CHECKING:
    from aiomqtt import Client, Message

DRAIN_S = 2.0
CLOSE_S = 3.5

_log = logging.getLogger(__name__)


class MqttSink:
    """Publishes a bench, and hands commands to `on_mark`.

    Readings and events come from the outbox of the store; `write` takes live and session state only, and never
    waits. A broker that is away costs nothing but the live messages of that time.
    """

    name = "mqtt"

    def __init__(
        self,
        settings: MqttSettings,
        bench: BenchDescription,
        boot: str,
        outbox: Outbox,
        status_source: Callable[[], StatusFields],
        on_mark: Callable[[Mark], str],
        *,
        reconnect: Reconnect | None = None,
        utc_s: Callable[[], float] = time.time,
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._settings, self._bench, self._mono_s = settings, bench, mono_s
        self._topics = Topics(settings.bench, settings.root)
        self._client_id = f"{settings.root}-{settings.bench}-{boot}"
        self._stamper = Stamper(settings.bench, boot, utc_s, mono_s)
        self._protocol = ProtocolChoice(settings.protocol)
        self._reconnect = reconnect or Reconnect()
        self._session: Session | None = None
        self._state = StateBoard(status_source, self._render_status, mono_s)
        self._live = LiveFeed(self._render_live, mono_s)
        self._announcer = Announcer(outbox, self._state.keep, mono_s)
        self._desk = CommandDesk(on_mark, utc_s)
        self._closing = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self.connected = False
        self.connections = 0
        self.last_fault = ""

    # ---- the verbs of a sink

    async def open(self) -> None:
        """Begin to connect, without waiting for it. Raises ConfigError if the certificates cannot be used."""
        if self._task is None:
            self._tls_context = await asyncio.to_thread(self._settings.tls_context)
            self._describe(None)
            self._task = asyncio.create_task(self._run(), name="mqtt")

    async def write(self, delivery: Delivery) -> None:
        for record in delivery.records:
            match record:
                case Readings() if self.connected:
                    self._live.put(record, delivery.utc_offset_s[record.segment])
                case Session():
                    self._session = record
                    offset_s = delivery.utc_offset_s[record.segment]
                    stamp = self._stamper.at("session", record.segment, record.t_s, offset_s)
                    self._state.put("session", session_body(record, stamp))
                case LinkChange():
                    self._describe(record.board if record.up else None)
                case Samples() | Readings():
                    continue
                case _:
                    self._state.look()

    async def close(self) -> None:
        """Announce what the outbox still holds, for a moment; say offline; disconnect."""
        self._closing.set()
        if self._task is not None:
            await asyncio.wait({self._task}, timeout=CLOSE_S if self.connected else 0.0)
            self._task.cancel()
            await asyncio.wait({self._task}, timeout=1.0)

    # ---- connections

    async def _run(self) -> None:
        while not self._closing.is_set():
            delay_s = await self._attempt()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(delay_s):
                    await self._closing.wait()

    async def _attempt(self) -> float:
        """One connection from beginning to end; how long to wait before the next."""
        since_s: float | None = None
        version = self._protocol.version
        will_topic = self._topics["availability"]
        try:
            async with connection(self._settings, version, self._client_id, self._tls_context, will_topic) as client:
                since_s = self._mono_s()
                await self._serve(client, Publisher(client, self._topics, version))
        except Exception as error:
            self._note(error)
            if since_s is None and self._protocol.refused(error):
                return 0.0
        held_s = self._mono_s() - since_s if since_s is not None else 0.0
        return self._reconnect.delay_s(held_s)

    async def _serve(self, client: Client, publish: Publisher) -> None:
        """Until closing; raises when the connection is lost. Leaves `offline` behind wherever it still can."""
        from aiomqtt import MqttError

        self.connections += 1
        self._protocol.worked()
        _log.info("connected to %s", self._settings.address)
        try:
            await self._state.publish_all(publish)
            await publish("availability", "online")
            await client.subscribe([(self._topics["command/+"], 1), (self._topics["availability"], 1)])
            self.connected = True
            await self._work(client, publish)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(DRAIN_S):
                    await self._announcer.drain(publish)
        finally:
            self.connected = False
            with contextlib.suppress(MqttError):
                await publish("availability", "offline")

    async def _work(self, client: Client, publish: Publisher) -> None:
        async with asyncio.TaskGroup() as group:
            work = (
                self._state.run(publish),
                self._live.run(publish),
                self._announcer.run(publish),
                self._listen(client, publish),
            )
            tasks = [group.create_task(job) for job in work]
            await self._closing.wait()
            await _end(tasks)

    async def _listen(self, client: Client, publish: Publisher) -> None:
        async for message in client.messages:
            name = self._topics.name_of(message.topic.value) or ""
            if name.startswith("command/"):
                await self._answer(name.removeprefix("command/"), message, publish)
            elif name == "availability" and message.payload == b"offline":
                # The will of a connection that died unseen, a former run of this bench, may come after our `online`.
                await publish("availability", "online")

    async def _answer(self, verb: str, message: Message, publish: Publisher) -> None:
        answer = self._desk.answer(verb, message.payload, message.retain)
        stamp = self._stamper.now("reply")
        body = reply_body(answer.id, answer.verb, answer.status, answer.reason, stamp)
        await publish.reply(body, message.properties)

    def _note(self, error: Exception) -> None:
        """Keep what went wrong; log it when it is not what went wrong the last time."""
        while isinstance(error, ExceptionGroup):
            error = error.exceptions[0]
        fault = f"MQTT broker {self._settings.address}: {error}"
        if fault != self.last_fault:
            _log.warning("%s", fault)
        self.last_fault = fault

    # ---- bodies

    def _describe(self, board: Board | None) -> None:
        self._state.put("describe", describe_body(self._bench, board, self._stamper.now("describe")))

    def _render_status(self, fields: StatusFields) -> str:
        return status_body(fields, max(0, self.connections - 1), self._stamper.now("status"))

    def _render_live(self, rows: Readings, utc_offset_s: float) -> str:
        stamp = self._stamper.at("live", rows.segment, float(rows.t_s[-1]), utc_offset_s)
        return live_body(rows, self._session, stamp, self._bench.unit)


async def _end(tasks: list[asyncio.Task[None]]) -> None:
    """Cancel until they are done: the client waits by Python's `wait_for`, which up to 3.11 may lose a cancellation
    that comes together with an acknowledgement. Ref: CPython gh-86296."""
    while waiting := [task for task in tasks if not task.done()]:
        for task in waiting:
            task.cancel()
        await asyncio.wait(waiting, timeout=0.1)
