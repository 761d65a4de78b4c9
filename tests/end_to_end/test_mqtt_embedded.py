"""The bench with its own embedded broker."""

from __future__ import annotations

import asyncio
import signal
import socket
import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from daq.errors import UnavailableError
from daq.sinks.broker import DEFAULT_PORT, PROTOCOL, EmbeddedBroker
from daq.sinks.mqtt.settings import MqttSettings
from tests.suites.broker_suite import BrokerSuite
from tests.suites.brokers import PATIENCE_S, BrokerProcess, Embedded, free_port, until
from tests.suites.mqtt_bench import running, settings, soon


class TestEmbedded(BrokerSuite):
    keeps_qos = False

    def make(self, folder: Path) -> BrokerProcess:
        return Embedded()

    def settings(self, broker: BrokerProcess, port: int | None = None) -> MqttSettings:
        return settings(port or broker.port, protocol=PROTOCOL)

    def test_a_bench_that_does_not_know_it_falls_back_from_mqtt_5(self, broker: BrokerProcess) -> None:
        async def scene() -> None:
            async with running(settings(broker.port, timeout_s=1.0)) as bench:
                assert bench.sink.connections == 1

        asyncio.run(scene())


def test_it_listens_on_loopback_only() -> None:
    async def scene() -> None:
        async with EmbeddedBroker(0) as broker:
            assert broker.pid is not None
            listening = [c for c in psutil.Process(broker.pid).net_connections() if c.status == psutil.CONN_LISTEN]
            assert [c.laddr for c in listening] == [("127.0.0.1", broker.port)]

    asyncio.run(scene())


def test_it_is_gone_after_the_block() -> None:
    async def scene() -> int:
        async with EmbeddedBroker(0) as broker:
            assert broker.pid is not None
            return broker.pid

    assert not psutil.pid_exists(asyncio.run(scene()))


def test_a_port_that_is_taken_is_named_with_the_way_out() -> None:
    async def scene(port: int) -> None:
        async with EmbeddedBroker(port):
            pass

    with socket.create_server(("127.0.0.1", 0)) as other, pytest.raises(UnavailableError) as raised:
        asyncio.run(scene(port := other.getsockname()[1]))
    assert f"Port {port} of this computer is taken" in str(raised.value)
    assert "mqtt.host" in raised.value.todo


def test_only_the_default_port_gives_way() -> None:
    async def scene() -> tuple[int, int]:
        async with EmbeddedBroker() as first, EmbeddedBroker() as second:
            return first.port, second.port

    first, second = asyncio.run(scene())
    assert second not in (first, DEFAULT_PORT)


def test_nothing_is_left_when_the_parent_is_killed() -> None:
    parent = (
        "import asyncio\nfrom daq.sinks.broker import EmbeddedBroker\n"
        "async def main():\n async with EmbeddedBroker(0) as broker:\n"
        "  print(broker.pid, flush=True)\n  await asyncio.sleep(1000)\nasyncio.run(main())"
    )
    with subprocess.Popen([sys.executable, "-c", parent], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        broker = psutil.Process(int(process.stdout.readline()))
        process.kill()
    broker.wait(PATIENCE_S)


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_to_the_group_leaves_the_last_word_to_the_parent(name: str) -> None:
    embedded = Embedded()
    embedded.start()
    assert embedded.process is not None
    embedded.process.send_signal(getattr(signal, name))
    with pytest.raises(subprocess.TimeoutExpired):
        embedded.process.wait(1.0)
    embedded.stop()
    assert embedded.process.returncode == 0


def test_a_broker_that_dies_is_started_again_on_its_port() -> None:
    async def scene() -> None:
        async with EmbeddedBroker(free_port()) as broker, asyncio.timeout(PATIENCE_S):
            port, first = broker.port, broker.pid
            assert first is not None
            psutil.Process(first).kill()
            await soon(lambda: broker.pid != first and _answers(port), "a new broker")
            assert broker.port == port

    asyncio.run(scene())


def _answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 1).close()
    except OSError:
        return False
    return True


def test_until_fails_when_nothing_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.suites.brokers.PATIENCE_S", 0.05)
    with pytest.raises(AssertionError, match="never came: Godot"):
        until(lambda: False, "Godot")
