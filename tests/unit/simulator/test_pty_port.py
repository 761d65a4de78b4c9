"""The board on a pseudo-terminal (collected on POSIX systems only)."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import serial

from simulator.errors import PortError
from simulator.transport.port import MOST_PENDING_BYTES
from simulator.transport.pty_port import PtyPort


@pytest.fixture
def port(tmp_path: Path) -> Iterator[PtyPort]:
    with closing(PtyPort(tmp_path / "board")) as one:
        one.plug()
        yield one


def opened(port: PtyPort) -> serial.Serial:
    return serial.Serial(port.url, timeout=10, exclusive=True)


def test_round_trip_of_every_byte(port: PtyPort) -> None:
    every = bytes(range(256))
    with opened(port) as host:
        port.exchange(b"")
        port.exchange(every)
        assert host.read(256) == every
        host.write(every)
        received = b""
        while len(received) < 256:
            port.wait(1.0)
            received += port.exchange(b"")
        assert received == every


def test_line_is_raw_for_a_program_that_sets_nothing(port: PtyPort) -> None:
    host = os.open(port.url, os.O_RDWR | os.O_NOCTTY)
    try:
        port.exchange(b"")
        port.exchange(b"a\r\n\x03\x04b\n")
        assert os.read(host, 100) == b"a\r\n\x03\x04b\n"
        assert port.exchange(b"") == b""
        os.write(host, b"c\n")
        port.wait(10.0)
        assert port.exchange(b"") == b"c\n"
    finally:
        os.close(host)


def test_what_nobody_listens_to_is_lost(port: PtyPort) -> None:
    port.exchange(b"lost")
    assert not port.listening
    with opened(port) as host:
        port.exchange(b"")
        assert port.listening
        port.exchange(b"new")
        assert host.read(3) == b"new"
    port.exchange(b"lost too")
    assert not port.listening
    with opened(port) as host:
        port.exchange(b"")
        port.exchange(b"newer")
        assert host.read(5) == b"newer"


def test_pulled_cable_hangs_up_and_comes_back_behind_the_same_link(port: PtyPort) -> None:
    with opened(port) as host:
        port.exchange(b"")
        port.unplug()
        port.unplug()
        assert not Path(port.url).exists()
        assert port.exchange(b"void") == b""
        with pytest.raises(OSError):
            host.read(1)
    port.plug()
    port.plug()
    with opened(port) as host:
        port.exchange(b"")
        port.exchange(b"back")
        assert host.read(4) == b"back"


def test_host_that_does_not_read_loses_bytes_and_the_loop_does_not_block(port: PtyPort) -> None:
    with opened(port):
        port.exchange(b"")
        for _ in range(10):
            port.exchange(bytes(65_536))
        assert port.pending_bytes == MOST_PENDING_BYTES
        assert port.lost_bytes > 0
    port.exchange(b"")
    assert port.pending_bytes == 0


def test_close_takes_the_link_away(tmp_path: Path) -> None:
    one = PtyPort(tmp_path / "board")
    one.plug()
    one.close()
    assert list(tmp_path.iterdir()) == []


def test_link_of_its_own_when_none_is_named() -> None:
    with closing(PtyPort()) as one:
        one.plug()
        assert os.path.realpath(one.url).startswith("/dev/")
    assert not Path(one.url).parent.exists()


def test_stale_link_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "board").symlink_to("/dev/pts/nonexistent")
    with closing(PtyPort(tmp_path / "board")) as one:
        one.plug()
        assert Path(one.url).exists()


def test_a_file_in_the_way_is_not_touched(tmp_path: Path) -> None:
    (tmp_path / "board").write_text("precious")
    with pytest.raises(PortError, match="no symbolic link"):
        PtyPort(tmp_path / "board")
    assert (tmp_path / "board").read_text() == "precious"


def test_link_in_no_directory(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path / "nowhere" / "board")) as one, pytest.raises(PortError, match="cannot be made"):
        one.plug()
