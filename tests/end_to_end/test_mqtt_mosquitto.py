"""The bench with Debian's Mosquitto, a broker that speaks MQTT 5."""

from __future__ import annotations

import asyncio
import json
import random
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.records import Marked
from daq.sinks.base import BackOff
from daq.sinks.mqtt.pace import Reconnect
from tests.suites.broker_suite import PREFIX, BrokerSuite, command, distinct
from tests.suites.brokers import PATIENCE_S, BrokerProcess, Cable, Mosquitto, Watcher, program, until
from tests.suites.deliveries import delivery, readings, stable
from tests.suites.mqtt_bench import BOOT, make, running, settings, soon

TLS = Path(__file__).parent / "mqtt_tls"


class TestMosquitto(BrokerSuite):
    def make(self, folder: Path) -> BrokerProcess:
        return Mosquitto(folder)

    def test_two_benches_with_one_client_id_do_not_storm(self, broker: BrokerProcess) -> None:
        """Each throws the other out. By full jitter from 1 s on, 7 turns take 64 s on average; here it is seeded."""
        waits: list[float] = []

        def draw(low: float, high: float) -> float:
            waits.append(high)
            return random.uniform(low, high) / 200

        async def scene() -> None:
            async with (
                running(self.settings(broker), BOOT, Reconnect(BackOff(1.0, 30.0, draw))) as first,
                running(self.settings(broker), BOOT, Reconnect(BackOff(1.0, 30.0, draw))) as second,
            ):
                await soon(lambda: len(waits) >= 12, "a fight")
                assert first.sink.connections + second.sink.connections <= len(waits) + 4

        asyncio.run(scene())
        assert [waits.count(limit) for limit in (1.0, 2.0, 4.0, 8.0, 16.0)] == [2, 2, 2, 2, 2]

    def test_mqtt_5_tells_type_and_life_of_a_message(self, broker: BrokerProcess) -> None:
        """`%E` of mosquitto_sub is the expiry that is left, `%C` the content type, `%F` 1 for UTF-8 text."""

        async def scene() -> None:
            async with running(settings(broker.port)) as bench:
                bench.outbox.store(stable())
                await bench.sink.write(delivery(readings(0.0, 1)))
                await soon(lambda: watcher.on("live") and watcher.on("last/2"), "live and last")

        form = "%t\t%q\t%r\t%C %F %E"
        with Watcher(broker.port, "-V", "5", "-F", form) as watcher:
            asyncio.run(scene())
        about = {message.topic.removeprefix(PREFIX): message.body for message in watcher.seen}
        assert about["live"] == "application/json 1 5"
        assert about["reading"] == "application/json 1 604800"
        assert about["last/2"] == about["status"] == "application/json 1 "
        assert about["availability"] == "text/plain 1 "

    def test_an_answer_goes_to_the_response_topic_with_its_correlation(self, broker: BrokerProcess) -> None:
        async def scene() -> str:
            async with running(settings(broker.port)) as bench:
                asking = [program("mosquitto_rr"), "-p", str(broker.port), "-t", PREFIX + "command/next", "-V", "5"]
                asking += ["-e", "somewhere/else", "-D", "publish", "correlation-data", "7b", "-m", command("c1")]
                asking += ["-W", str(int(PATIENCE_S)), "-F", "%t %D %p"]
                done = await asyncio.to_thread(subprocess.run, asking, capture_output=True, text=True, check=True)
                assert [mark.kind for mark in bench.marks] == ["next"]
            return done.stdout

        with Watcher(broker.port) as watcher:
            topic, correlation, body = asyncio.run(scene()).split(" ", 2)
        assert (topic, correlation, json.loads(body)["status"]) == ("somewhere/else", "7b", "accepted")
        assert watcher.on("reply") == []

    def test_a_short_drop_does_not_show_as_offline(self, broker: BrokerProcess) -> None:
        """MQTT 5 will delay: the session taken up again in time takes the will back. Ref: MQTT 5.0, 3.1.3.2.2."""

        async def scene() -> None:
            async with Cable(broker.port) as cable, running(settings(cable.port)) as bench:
                await soon(lambda: watcher.bodies("availability"), "online")
                cable.cut()
                await soon(lambda: bench.sink.connections == 2, "a second connection")
                await soon(lambda: len(watcher.bodies("availability")) == 2, "online again")

        with Watcher(broker.port) as watcher:
            asyncio.run(scene())
            until(lambda: "offline" in watcher.bodies("availability"), "the clean stop")
        assert watcher.bodies("availability") == ["online", "online", "offline"]

    def test_a_broker_that_hangs_for_a_while_costs_nothing_but_duplicates(self, broker: Mosquitto) -> None:
        async def scene() -> list[str]:
            async with running(settings(broker.port, timeout_s=0.5)) as bench:
                await soon(lambda: watcher.bodies("availability"), "online")
                broker.signal(signal.SIGSTOP)
                bench.outbox.store(*[Marked(1, float(n), "note", str(n), "operator") for n in range(10)])
                await soon(lambda: not bench.sink.connected, "a lost connection")
                assert bench.outbox.announced_ids == []
                broker.signal(signal.SIGCONT)
                await soon(lambda: not bench.outbox.waiting, "an empty outbox")
                return bench.outbox.bodies("event")

        with Watcher(broker.port) as watcher:
            stored = asyncio.run(scene())
            until(lambda: distinct(watcher.bodies("event")) == stored, "all events in order")

    def test_with_3_1_1_it_all_works_too(self, broker: BrokerProcess) -> None:
        async def scene() -> None:
            async with running(settings(broker.port, protocol="3.1.1")) as bench:
                bench.outbox.store(stable())
                await bench.sink.write(delivery(readings(0.0, 1)))
                await soon(lambda: watcher.on("live") and watcher.on("last/2"), "live and last")

        with Watcher(broker.port) as watcher:
            asyncio.run(scene())


class TestGuardedMosquitto:
    """A broker behind TLS that wants a name and a password."""

    @pytest.fixture
    def broker(self, tmp_path: Path) -> Iterator[Mosquitto]:
        passwords = tmp_path / "passwords"
        subprocess.run([program("mosquitto_passwd"), "-b", "-c", str(passwords), "garage", "right"], check=True)
        passwords.chmod(0o644)
        tls = f"certfile {TLS / 'certificate.pem'}\nkeyfile {TLS / 'key.pem'}"
        broker = Mosquitto(tmp_path, f"{tls}\nallow_anonymous false\npassword_file {passwords}")
        broker.start()
        try:
            yield broker
        finally:
            broker.stop()

    def test_it_is_reached_with_certificate_and_password(self, broker: Mosquitto) -> None:
        async def scene() -> None:
            guarded = settings(
                broker.port, tls=True, ca_file=TLS / "certificate.pem", username="garage", password="right"
            )
            async with running(guarded) as bench:
                bench.outbox.store(stable())
                await soon(lambda: not bench.outbox.waiting, "an announced reading")

        asyncio.run(scene())

    @pytest.mark.parametrize(
        ("more", "said"),
        [
            ({"tls": True, "username": "garage", "password": "right"}, "certificate"),
            ({"tls": True, "ca_file": TLS / "certificate.pem", "username": "garage", "password": "wrong"}, "authori"),
            ({"tls": True, "ca_file": TLS / "certificate.pem", "host": "localhost"}, "certificate|authorized"),
        ],
    )
    def test_what_keeps_it_out_is_told(self, broker: Mosquitto, more: dict[str, object], said: str) -> None:
        async def scene() -> str:
            bench = make(settings(broker.port, **more))
            await bench.sink.open()
            await soon(lambda: bench.sink.last_fault, "a fault")
            await bench.sink.close()
            assert bench.sink.connections == 0
            return bench.sink.last_fault

        fault = asyncio.run(scene())
        assert any(word in fault for word in said.split("|")), fault
