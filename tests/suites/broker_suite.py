"""What a bench and a broker do together, seen by a generic client. A test file subclasses it, one broker each."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from abc import abstractmethod
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import ClassVar

import jsonschema
import pytest

from daq.records import CylinderJudged, Judged, Marked
from daq.sinks.mqtt.feed import subscribe
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.payloads.documents import FOLDER
from daq.sinks.topics import CHANNELS
from tests.suites.brokers import BrokerProcess, Cable, Seen, Watcher, publish, until
from tests.suites.deliveries import delivery, every_event, readings, stable
from tests.suites.mqtt_bench import make, running, settings, soon

PREFIX = "boretight/v1/garage/"
JUDGED = [
    CylinderJudged(1, 12.0, "spring", 2, Judged(loss, 1.0, word, 0.97), None, "common practice", 10.0, 15.0)
    for loss, word in ((6.0, "sound"), (12.5, "watch"))
]


class BrokerSuite:
    keeps_qos: ClassVar[bool] = True
    """Whether a message reaches a subscriber of QoS 1 with the lower QoS that it was published with."""

    @abstractmethod
    def make(self, folder: Path) -> BrokerProcess:
        """A broker that has not been started."""

    def settings(self, broker: BrokerProcess, port: int | None = None) -> MqttSettings:
        return settings(port or broker.port)

    @pytest.fixture
    def broker(self, tmp_path: Path) -> Iterator[BrokerProcess]:
        broker = self.make(tmp_path)
        broker.start()
        try:
            yield broker
        finally:
            broker.stop()

    # ---- what is said

    def test_a_generic_client_sees_everything_as_the_contract_says(self, broker: BrokerProcess) -> None:
        async def scene() -> None:
            async with running(self.settings(broker)) as bench:
                bench.outbox.store(*every_event())
                await bench.sink.write(delivery(readings(0.0, 3), *every_event()))
                await soon(lambda: not bench.outbox.waiting, "an empty outbox")
                await soon(lambda: watcher.on("session") and watcher.on("live"), "session and live")

        with Watcher(broker.port) as watcher:
            asyncio.run(scene())
            until(lambda: "offline" in watcher.bodies("availability"), "offline")
        assert {message.topic.removeprefix(PREFIX) for message in watcher.seen} == {
            "availability", "status", "describe", "session", "live", "reading", "event", "last/2", "verdict/2",
        }  # fmt: skip
        assert watcher.bodies("availability") == ["online", "offline"]
        for message in watcher.seen:
            _conforms(message, self.keeps_qos)

    def test_the_retained_state_waits_for_whoever_comes_later(self, broker: BrokerProcess) -> None:
        async def scene() -> None:
            async with running(self.settings(broker)) as bench:
                bench.outbox.store(stable(12.0, 2), stable(13.0, 3), stable(14.0, 2), *JUDGED)
                await bench.sink.write(delivery(*every_event()))
                await soon(lambda: not bench.outbox.waiting, "an empty outbox")

        asyncio.run(scene())
        with Watcher(broker.port) as late:
            until(lambda: len(late.seen) == 7, "seven retained messages")
        assert all(message.retained for message in late.seen)
        state = {message.topic.removeprefix(PREFIX): message.body for message in late.seen}
        assert state.keys() == {"availability", "status", "describe", "session", "last/2", "last/3", "verdict/2"}
        assert state["availability"] == "offline"
        assert [json.loads(state[name])["mono_s"] for name in ("last/2", "last/3")] == [14.0, 13.0]
        assert json.loads(state["verdict/2"])["verdict"] == "watch"

    def test_the_broker_says_offline_for_a_bench_that_was_killed(self, broker: BrokerProcess) -> None:
        with Watcher(broker.port) as watcher:
            command = [sys.executable, "-m", "tests.suites.mqtt_bench", str(broker.port)]
            with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
                assert process.stdout is not None and process.stdout.readline() == "online\n"
                assert watcher.bodies("availability")[-1:] == ["online"]
                process.kill()
            until(lambda: watcher.bodies("availability")[-1:] == ["offline"], "the last will")
        with Watcher(broker.port) as late:
            until(lambda: late.bodies("availability") == ["offline"], "the retained last will")

    def test_a_late_last_will_of_a_former_run_is_put_right(self, broker: BrokerProcess) -> None:
        async def scene() -> None:
            async with running(self.settings(broker)):
                await soon(lambda: watcher.bodies("availability") == ["online"], "online")
                publish(broker.port, PREFIX + "availability", "offline", "-q", "1", "-r")
                await soon(lambda: watcher.bodies("availability") == ["online", "offline", "online"], "online again")

        with Watcher(broker.port) as watcher:
            asyncio.run(scene())

    def test_the_description_follows_the_board(self, broker: BrokerProcess) -> None:
        up = every_event()[0]

        async def scene() -> None:
            async with running(self.settings(broker)) as bench:
                await soon(lambda: watcher.on("describe"), "a description")
                await bench.sink.write(delivery(up))
                await soon(lambda: len(watcher.on("describe")) == 2, "another description")

        with Watcher(broker.port) as watcher:
            asyncio.run(scene())
        assert [message.json["board"] for message in watcher.on("describe")] == ["", "Garage Sketch 0001 1.0"]

    def test_a_clean_stop_announces_what_has_been_stored_first(self, broker: BrokerProcess) -> None:
        async def scene() -> list[str]:
            async with running(self.settings(broker)) as bench:
                bench.outbox.store(*[Marked(1, float(n), "note", str(n), "operator") for n in range(40)])
            assert bench.outbox.waiting == []
            return bench.outbox.bodies("event")

        with Watcher(broker.port) as watcher:
            stored = asyncio.run(scene())
            until(lambda: "offline" in watcher.bodies("availability"), "offline")
        assert watcher.bodies("event") == stored

    # ---- a broker that goes away

    def test_after_an_outage_exactly_what_was_stored_is_announced_in_order(self, broker: BrokerProcess) -> None:
        marks = [Marked(1, float(n), "note", f"mark {n}", "operator") for n in range(60)]

        async def scene() -> None:
            async with Cable(broker.port) as cable, running(self.settings(broker, cable.port)) as bench:
                bench.outbox.store(*marks[:5])
                await soon(lambda: not bench.outbox.waiting, "five announcements")
                cable.broken = True
                await asyncio.to_thread(broker.stop)
                await soon(lambda: not bench.sink.connected, "a lost connection")
                for n in range(5, 60):
                    bench.outbox.store(marks[n], stable(float(n)))
                    await bench.sink.write(delivery(readings(float(n), 1), marks[n]))
                await asyncio.to_thread(broker.start)
                with Watcher(broker.port) as watcher:
                    cable.broken = False
                    await soon(lambda: not bench.outbox.waiting, "an empty outbox")
                    await soon(lambda: distinct(watcher.bodies("event")) == bench.outbox.bodies("event")[5:], "events")
                    await soon(
                        lambda: distinct(watcher.bodies("reading")) == bench.outbox.bodies("reading"), "readings"
                    )
                assert watcher.on("live") == []
                assert bench.outbox.announced_ids == sorted(bench.outbox.announced_ids)
                assert bench.sink.connections == 2

        asyncio.run(scene())

    def test_all_retained_state_is_published_anew_on_each_connection(self, broker: BrokerProcess) -> None:
        async def scene() -> None:
            async with running(self.settings(broker)) as bench:
                bench.outbox.store(stable(12.0, 2), *JUDGED)
                await bench.sink.write(delivery(*every_event()))
                await soon(lambda: not bench.outbox.waiting, "an empty outbox")
                await asyncio.to_thread(broker.stop)
                await soon(lambda: not bench.sink.connected, "a lost connection")
                await asyncio.to_thread(broker.start)
                await soon(lambda: bench.sink.connected, "a second connection")
                with Watcher(broker.port) as watcher:
                    names = ("describe", "status", "session", "last/2", "verdict/2", "availability")
                    await soon(lambda: all(map(watcher.on, names)), "all state")
                assert watcher.bodies("availability")[-1] == "online"
                assert watcher.on("status")[-1].json["reconnects"] == 1

        asyncio.run(scene())

    def test_a_bench_that_starts_before_its_broker_finds_it(self, tmp_path: Path) -> None:
        broker = self.make(tmp_path)

        async def scene() -> None:
            bench = make(self.settings(broker))
            await bench.sink.open()
            bench.outbox.store(stable())
            await soon(lambda: bench.sink.last_fault, "a refused connection")
            assert not bench.sink.connected
            await asyncio.to_thread(broker.start)
            await soon(lambda: not bench.outbox.waiting, "an announced reading")
            await bench.sink.close()

        try:
            asyncio.run(scene())
        finally:
            broker.stop()

    # ---- commands

    def test_a_command_becomes_a_mark_once_and_is_answered(self, broker: BrokerProcess) -> None:
        async def scene() -> None:
            async with running(self.settings(broker)) as bench:
                await soon(lambda: watcher.on("availability"), "online")
                await self._listening(broker, watcher)
                asked = command("c1", text="oil cap off")
                publish(broker.port, PREFIX + "command/note", asked)
                publish(broker.port, PREFIX + "command/note", asked, "-q", "1")
                await soon(lambda: len(_replies(watcher)) == 2, "two replies")
                assert [(mark.kind, mark.text) for mark in bench.marks] == [("note", "oil cap off")]

        with Watcher(broker.port) as watcher:
            asyncio.run(scene())
        assert [(r["id"], r["verb"], r["status"]) for r in _replies(watcher)] == [("c1", "note", "accepted")] * 2
        for message in watcher.on("reply"):
            _conforms(message)

    def test_late_retained_broken_and_unknown_commands_are_answered_and_do_nothing(self, broker: BrokerProcess) -> None:
        publish(broker.port, PREFIX + "command/next", command("kept"), "-r")

        async def scene() -> None:
            async with running(self.settings(broker)) as bench:
                await self._listening(broker, watcher)
                publish(broker.port, PREFIX + "command/next", command("late", minutes=-1))
                publish(broker.port, PREFIX + "command/next", "{")
                publish(broker.port, PREFIX + "command/explode", command("odd"))
                await soon(lambda: len(_replies(watcher)) == 4, "four replies")
                assert bench.marks == []

        with Watcher(broker.port) as watcher:
            asyncio.run(scene())
        assert [(r["id"], r["status"]) for r in _replies(watcher)] == [
            ("kept", "refused"), ("late", "expired"), (None, "invalid"), ("odd", "refused"),
        ]  # fmt: skip

    async def _listening(self, broker: BrokerProcess, watcher: Watcher) -> None:
        """The bench has subscribed once it answers."""
        while not any(message.json["id"] == "hello" for message in watcher.on("reply")):
            publish(broker.port, PREFIX + "command/note", command("hello", minutes=-1, text="?"))
            await asyncio.sleep(0.02)

    # ---- the feed

    def test_the_feed_follows_a_bench_through_an_outage(self, broker: BrokerProcess) -> None:
        faults: list[str] = []
        got: list[tuple[str, object]] = []

        async def follow() -> None:
            async for topic, payload in subscribe(settings(broker.port), on_fault=faults.append):
                got.append((topic, payload.get("availability", payload.get("text"))))

        async def scene() -> None:
            following = asyncio.create_task(follow())
            async with running(self.settings(broker)) as bench:
                await soon(lambda: (PREFIX + "availability", "online") in got, "online")
                assert faults == []
                await asyncio.to_thread(broker.stop)
                await soon(lambda: faults, "a told fault")
                await asyncio.to_thread(broker.start)
                publish(broker.port, PREFIX + "event", "no JSON")
                bench.outbox.store(Marked(1, 1.0, "note", "back", "operator"))
                while not any(said == "back" for _, said in got):
                    publish(broker.port, PREFIX + "event", json.dumps({"text": "back"}))
                    await asyncio.sleep(0.1)
                assert bench.sink.connections == 2
            following.cancel()

        asyncio.run(scene())


def _conforms(message: Seen, keeps_qos: bool = True) -> None:
    """Topic, QoS and body as published; by the published schema, with no field that it does not know."""
    name = message.topic.removeprefix(PREFIX).partition("/")[0]
    assert message.qos == CHANNELS[name].qos or not keeps_qos, message
    schema = json.loads((FOLDER / f"{'reading' if name == 'last' else name}.json").read_text())
    body = message.body if name == "availability" else message.json
    jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker()).validate(body)
    if isinstance(body, dict):
        assert all(not isinstance(value, dict | list) for value in body.values()), "one flat object"


def _replies(watcher: Watcher) -> list[dict[str, object]]:
    return [message.json for message in watcher.on("reply") if message.json["id"] != "hello"]


def distinct(bodies: list[str]) -> list[str]:
    """As a reader takes them: one that comes twice is taken once."""
    return list(dict.fromkeys(bodies))


def command(id: str, minutes: float = 5.0, text: str = "") -> str:
    deadline = datetime.now(UTC) + timedelta(minutes=minutes)
    return json.dumps({"id": id, "deadline": deadline.isoformat(), "text": text})
