"""An invented bench that speaks MQTT: the sink with an outbox in memory, for tests and for a process of its own."""

from __future__ import annotations

import asyncio
import random
import sys
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from daq.records import Event, Instrument, Mark
from daq.sinks.base import BackOff
from daq.sinks.mqtt.pace import Reconnect
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.mqtt.sink import MqttSink
from daq.sinks.payloads import BenchDescription, StatusFields, event_body, stream_of
from daq.units import PressureUnit
from tests.suites.brokers import PATIENCE_S
from tests.suites.deliveries import CALIBRATION, UTC_OFFSET_S, delivery, every_event, readings

BOOT = "boot1"
INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, 689_475.7, 13_789.5, ("discharge_coefficient",))
BENCH = BenchDescription(INSTRUMENT, CALIBRATION, PressureUnit.PSI, "boretight 0.0.0")


@dataclass(frozen=True)
class Item:
    id: int
    stream: str
    seq: int
    body: str
    cylinder: int | None


class MemoryOutbox:
    """What the store promises, without a disk: in order, each until it is said to be announced."""

    def __init__(self, boot: str = BOOT) -> None:
        self._boot = boot
        self.waiting: list[Item] = []
        self.stored: list[Item] = []
        self.announced_ids: list[int] = []
        self.on_committed: Callable[[], None] = lambda: None

    def store(self, *events: Event) -> None:
        for event in events:
            if (stream := stream_of(event)) is None:
                continue
            seq = sum(item.stream == stream for item in self.stored)
            utc_s = UTC_OFFSET_S + event.t_s
            body = event_body(event, bench="garage", boot=self._boot, seq=seq, utc_s=utc_s, unit=PressureUnit.PSI)
            assert body is not None
            item = Item(len(self.stored) + 1, *(stream, seq, body[1]), getattr(event, "cylinder", None))
            self.stored.append(item)
            self.waiting.append(item)
        self.on_committed()

    def pending(self, limit: int) -> Sequence[Item]:
        return self.waiting[:limit]

    def announced(self, ids: Sequence[int]) -> None:
        self.announced_ids += ids
        self.waiting = [item for item in self.waiting if item.id not in ids]

    def bodies(self, stream: str) -> list[str]:
        return [item.body for item in self.stored if item.stream == stream]


@dataclass
class Bench:
    """A sink with everything that it is given."""

    sink: MqttSink
    outbox: MemoryOutbox
    marks: list[Mark]
    status: list[StatusFields] = field(default_factory=lambda: [StatusFields(line="up")])


def settings(port: int, **more: object) -> MqttSettings:
    return MqttSettings(bench="garage", port=port, **more)  # type: ignore[arg-type]


def make(wanted: MqttSettings, boot: str = BOOT, reconnect: Reconnect | None = None) -> Bench:
    """A bench that tries again soon, whatever happened before."""
    outbox, marks = MemoryOutbox(boot), list[Mark]()

    def take(mark: Mark) -> str:
        marks.append(mark)
        return ""

    status = [StatusFields(line="up")]
    soon = Reconnect(BackOff(first_s=0.05, most_s=0.05))
    sink = MqttSink(
        wanted, BENCH, boot, outbox, lambda: status[-1], take, reconnect=reconnect or soon
    )  # fmt: skip
    return Bench(sink, outbox, marks, status)


@asynccontextmanager
async def running(wanted: MqttSettings, boot: str = BOOT, reconnect: Reconnect | None = None) -> AsyncIterator[Bench]:
    """A bench that is connected, and is closed properly at the end of the block."""
    bench = make(wanted, boot, reconnect)
    await bench.sink.open()
    try:
        await soon(lambda: bench.sink.connected, "a connection")
        yield bench
    finally:
        await bench.sink.close()


async def soon(condition: Callable[[], object], what: str) -> None:
    """`until` for the event loop's own thread."""
    last = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < last, f"never came: {what}"
        await asyncio.sleep(0.01)


async def _for_ever(port: int) -> None:
    """A daemon's worth of bench, to be killed: it says so on standard output once it is online."""
    async with running(settings(port), "boot2") as bench:
        bench.outbox.store(*every_event())
        await bench.sink.write(delivery(readings(0.0, 1), *every_event()))
        await soon(lambda: not bench.outbox.waiting, "an empty outbox")
        print("online", flush=True)
        await asyncio.sleep(random.randint(1000, 2000))


if __name__ == "__main__":
    asyncio.run(_for_ever(int(sys.argv[1])))
