"""The board on TCP, on the loopback address."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import closing

import pytest

from simulator.errors import PortError
from simulator.transport.port import MOST_PENDING_BYTES
from simulator.transport.tcp_port import TcpPort


@pytest.fixture
def port() -> Iterator[TcpPort]:
    with closing(TcpPort(0)) as one:
        one.plug()
        yield one


def connect(port: TcpPort) -> socket.socket:
    host, number = port.url.removeprefix("socket://").split(":")
    return socket.create_connection((host, int(number)), timeout=10)


def exchange_until(port: TcpPort, wanted: bytes) -> None:
    received = b""
    while received != wanted:
        port.wait(1.0)
        received += port.exchange(b"")


def test_round_trip(port: TcpPort) -> None:
    with connect(port) as host:
        assert port.exchange(b"hello") == b""
        assert port.listening
        assert host.recv(100) == b"hello"
        host.sendall(b"INIT\n")
        exchange_until(port, b"INIT\n")


def test_nobody_there_nothing_is_kept(port: TcpPort) -> None:
    assert port.exchange(b"lost") == b""
    assert not port.listening
    with connect(port) as host:
        port.exchange(b"new")
        assert host.recv(100) == b"new"
    assert port.lost_bytes == 0


def test_host_that_goes_away_is_noticed_and_another_may_come(port: TcpPort) -> None:
    with connect(port):
        port.exchange(b"")
        assert port.listening
    port.wait(1.0)
    port.exchange(b"")
    assert not port.listening
    with connect(port) as host:
        port.exchange(b"again")
        assert host.recv(100) == b"again"


def test_second_host_is_turned_away(port: TcpPort) -> None:
    with connect(port) as first, connect(port) as second:
        port.exchange(b"")
        port.exchange(b"")
        assert second.recv(100) == b""
        port.exchange(b"yours")
        assert first.recv(100) == b"yours"


def test_pulled_cable_hangs_up_and_turns_away_who_comes(port: TcpPort) -> None:
    with connect(port) as host:
        port.exchange(b"")
        port.unplug()
        assert host.recv(100) == b""
    with connect(port) as early:
        port.exchange(b"void")
        assert early.recv(100) == b""
    port.plug()
    with connect(port) as host:
        port.exchange(b"back")
        assert host.recv(100) == b"back"


def test_host_that_does_not_read_loses_bytes_and_the_loop_does_not_block(port: TcpPort) -> None:
    with connect(port):
        for _ in range(400):
            port.exchange(bytes(65_536))
        assert port.pending_bytes == MOST_PENDING_BYTES
        assert port.lost_bytes > 0


def test_port_in_use(port: TcpPort) -> None:
    with pytest.raises(PortError, match="cannot be offered"):
        TcpPort(int(port.url.rsplit(":", 1)[1]))
