"""A board on TCP, as a serial server offers it: raw bytes, one host at a time. Runs wherever Python runs."""

from __future__ import annotations

import select
import socket
from contextlib import suppress

from simulator.errors import PortError
from simulator.transport.port import READ_BYTES, append_what_fits

LOOPBACK = "127.0.0.1"


class TcpPort:
    """On the loopback address; port 0 picks a free one. A pulled cable drops the host, and turns away who comes."""

    def __init__(self, port: int = 0) -> None:
        try:
            self._listener = socket.create_server((LOOPBACK, port))
        except OSError as error:
            what = f"The simulated board cannot be offered on TCP port {port}."
            raise PortError(what, "Name another port; 0 picks a free one.", str(error)) from error
        self._listener.setblocking(False)
        self.url = f"socket://{LOOPBACK}:{self._listener.getsockname()[1]}"
        self.lost_bytes = 0
        self._plugged = False
        self._host: socket.socket | None = None
        self._pending = bytearray()

    @property
    def listening(self) -> bool:
        return self._host is not None

    @property
    def pending_bytes(self) -> int:
        return len(self._pending)

    def plug(self) -> None:
        self._plugged = True

    def unplug(self) -> None:
        self._plugged = False
        self._drop_host()

    def exchange(self, data: bytes) -> bytes:
        self._meet_host()
        if self._host is None:
            return b""
        self.lost_bytes += append_what_fits(self._pending, data)
        try:
            self._send(self._host)
            received = self._host.recv(READ_BYTES)
        except BlockingIOError:
            return b""
        except OSError:
            received = b""
        if not received:
            self._drop_host()
        return received

    def wait(self, seconds: float) -> None:
        awaited = [self._listener] if self._host is None else [self._listener, self._host]
        select.select(awaited, [], [], seconds)

    def close(self) -> None:
        self.unplug()
        self._listener.close()

    def _meet_host(self) -> None:
        with suppress(BlockingIOError):
            host, _ = self._listener.accept()
            if not self._plugged or self._host is not None:
                host.close()
                return
            host.setblocking(False)
            host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._host = host

    def _send(self, host: socket.socket) -> None:
        with suppress(BlockingIOError):
            while self._pending:
                del self._pending[: host.send(self._pending)]

    def _drop_host(self) -> None:
        if self._host is not None:
            self._host.close()
        self._host = None
        self._pending.clear()
