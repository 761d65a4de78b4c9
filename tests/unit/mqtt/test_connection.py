from __future__ import annotations

import asyncio
import contextlib
import gc
import logging
import socket
from pathlib import Path

import psutil
import pytest
from aiomqtt import MqttError
from aiomqtt.exceptions import MqttConnectError
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from daq.errors import ConfigError
from daq.sinks.base import BackOff
from daq.sinks.mqtt.connection import ProtocolChoice, connection
from daq.sinks.mqtt.feed import _payload
from daq.sinks.mqtt.pace import Reconnect
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.mqtt.sink import _end
from tests.suites.mqtt_bench import make, settings, soon
from tests.suites.virtual_time import now_s, run

CONNACK_5 = bytes([0x20, 3, 0, 0, 0])
MORE_THAN_A_SOCKET_TAKES = 20 << 20
REFUSED_BY_3_1_1 = bytes([0x20, 2, 0, 1])


def connack(name: str) -> MqttConnectError:
    return MqttConnectError(ReasonCode(PacketTypes.CONNACK, name))


# ---- which version of MQTT


def test_mqtt_5_is_tried_first_and_the_older_one_at_once_after_a_refusal() -> None:
    choice = ProtocolChoice("auto")
    assert choice.version == "5"
    assert choice.refused(connack("Unsupported protocol version"))
    assert choice.version == "3.1.1"


def test_silence_means_an_old_broker_or_a_sick_one_so_both_get_their_turn() -> None:
    choice, silence = ProtocolChoice("auto"), MqttError("Operation timed out")
    assert choice.refused(silence) and choice.version == "3.1.1"
    assert not choice.refused(silence), "to go back to 5 is not urgent"
    assert choice.version == "5"


def test_a_version_that_has_worked_is_given_up_only_when_it_is_refused() -> None:
    choice = ProtocolChoice("auto")
    choice.worked()
    assert not choice.refused(MqttError("Operation timed out"))
    assert choice.version == "5"
    assert choice.refused(connack("Unsupported protocol version"))
    assert choice.version == "3.1.1"


@pytest.mark.parametrize(
    "error", [connack("Bad user name or password"), connack("Server busy"), MqttError("[Errno 111] Connection refused")]
)
def test_other_faults_do_not_change_the_version(error: Exception) -> None:
    choice = ProtocolChoice("auto")
    assert not choice.refused(error)
    assert choice.version == "5"


def test_a_version_that_was_asked_for_is_kept() -> None:
    for wanted in ("5", "3.1.1"):
        choice = ProtocolChoice(wanted)  # type: ignore[arg-type]
        assert not choice.refused(connack("Unsupported protocol version"))
        assert choice.version == wanted


# ---- the socket


async def listener(answer: bytes) -> tuple[asyncio.Server, int, bytearray]:
    """A broker that says the same to whoever comes, and nothing more; its port, and what it hears."""
    heard = bytearray()

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(answer)
        while data := await reader.read(1000):
            heard.extend(data)
        writer.close()

    server = await asyncio.start_server(take, "127.0.0.1", 0)
    return server, server.sockets[0].getsockname()[1], heard


def test_small_messages_are_not_held_back_by_the_socket() -> None:
    async def scene() -> int:
        server, port, _ = await listener(CONNACK_5)
        async with server, connection(settings(port), "5", "me") as client:
            sock = client._client.socket()
            assert isinstance(sock, socket.socket)
            return sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)

    assert asyncio.run(scene()) != 0


def test_a_message_is_on_its_way_before_publish_would_wait_for_anything() -> None:
    async def scene() -> bytes:
        server, port, heard = await listener(CONNACK_5)
        async with server, connection(settings(port), "5", "me") as client:
            with pytest.raises(StopIteration):
                client.publish("live", b"the newest").send(None)
            await soon(lambda: b"the newest" in heard, "the message")
        return bytes(heard)

    assert asyncio.run(scene()).count(b"the newest") == 1


def test_what_the_socket_does_not_take_at_once_goes_out_as_it_has_room() -> None:
    async def scene() -> tuple[int, int]:
        server, port, heard = await listener(CONNACK_5)
        async with server, connection(settings(port), "5", "me") as client:
            for number in range(3):
                await client.publish("status", bytes([number]) * MORE_THAN_A_SOCKET_TAKES)
            assert not client._client.want_write(), "each is written when publish returns"
            await soon(lambda: len(heard) > 3 * MORE_THAN_A_SOCKET_TAKES, "all of it")
        return heard.count(1), heard.count(2)

    assert min(asyncio.run(scene())) >= MORE_THAN_A_SOCKET_TAKES


def test_attempts_that_get_no_answer_leave_nothing_open() -> None:
    async def scene() -> None:
        server, port, _ = await listener(b"")
        async with server:
            me = psutil.Process()
            before = me.num_fds()
            for _ in range(5):
                with pytest.raises(MqttError, match="Operation timed out"):
                    async with connection(
                        settings(port, timeout_s=0.05, keepalive_s=3600), "5", "me", will_topic="will"
                    ):
                        pass
            gc.collect()
            await soon(lambda: me.num_fds() <= before, "closed sockets")
            assert len(asyncio.all_tasks()) <= 2

    asyncio.run(scene())


def test_the_bench_asks_to_take_up_its_session_and_leaves_a_retained_will() -> None:
    """Ref: MQTT 5.0, 3.1.2.3 connect flags, 3.1.2.11.2 session expiry (17), 3.1.3.2.2 will delay (24)."""

    async def scene() -> bytes:
        server, port, heard = await listener(CONNACK_5)
        async with server, connection(settings(port), "5", "me", will_topic="t/will"):
            pass
        return bytes(heard)

    connect = asyncio.run(scene())
    flags = connect[9]
    assert flags == 0b0010_1100, "will, QoS 1, retained; no clean start, no name, no password"
    assert connect[12:18] == bytes([5, 17, 0, 0, 0, 2])
    assert bytes([24, 0, 0, 0, 2]) in connect[18:]
    assert b"\x00\x06t/will\x00\x07offline" in connect


def test_a_refusal_names_the_code_that_the_choice_understands() -> None:
    async def scene() -> None:
        server, port, _ = await listener(REFUSED_BY_3_1_1)
        choice = ProtocolChoice("auto")
        async with server:
            with pytest.raises(MqttError) as raised:
                async with connection(settings(port), "5", "me"):
                    pass
            assert choice.refused(raised.value)

    asyncio.run(scene())


def test_a_fault_is_logged_once_and_kept(caplog: pytest.LogCaptureFixture) -> None:
    async def scene() -> str:
        with socket.create_server(("127.0.0.1", 0)) as taken:
            port = taken.getsockname()[1]
        reconnect = Reconnect(BackOff(0.01, 0.01))
        bench = make(settings(port), reconnect=reconnect)
        await bench.sink.open()
        await soon(lambda: reconnect.failures >= 3, "three attempts")
        await bench.sink.close()
        await bench.sink.close()
        return bench.sink.last_fault

    with caplog.at_level(logging.WARNING):
        fault = asyncio.run(scene())
    assert "127.0.0.1" in fault and "refused" in fault.lower()
    assert [record.getMessage() for record in caplog.records if "daq" in record.name] == [fault]


def test_work_that_loses_a_cancellation_ends_all_the_same() -> None:
    async def stubborn() -> None:
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.sleep(1000)
        await asyncio.sleep(1000)

    async def scene() -> float:
        tasks = [asyncio.create_task(stubborn()), asyncio.create_task(asyncio.sleep(1000))]
        await asyncio.sleep(1)
        await _end(tasks)
        assert all(task.cancelled() for task in tasks)
        return now_s()

    assert run(scene()) < 2.0


# ---- settings


def test_the_password_does_not_show() -> None:
    assert "secret" not in repr(MqttSettings(bench="b", username="me", password="secret"))


def test_certificates_that_cannot_be_used_are_a_fault_of_the_configuration(tmp_path: Path) -> None:
    assert MqttSettings(bench="b", ca_file=tmp_path / "none.pem").tls_context() is None
    (tmp_path / "text.pem").write_text("no certificate")
    for name in ("none.pem", "text.pem"):
        with pytest.raises(ConfigError, match="certificates"):
            MqttSettings(bench="b", tls=True, ca_file=tmp_path / name).tls_context()


# ---- the feed


def test_the_feed_takes_objects_and_the_bare_word_of_availability() -> None:
    assert _payload("boretight/v1/b/availability", b"online") == {"availability": "online"}
    assert _payload("boretight/v1/b/live", b'{"v":1}') == {"v": 1}
    for garbage in (b"", b"{", b"[1]", b"\xff", b"3"):
        assert _payload("boretight/v1/b/live", garbage) is None
