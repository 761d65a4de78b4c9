"""Real brokers for tests, in processes of their own on loopback, and a stranger's client that watches them."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, Self

PATIENCE_S = 20.0
"""How long a test waits before it says that something never came; never how long something may take."""


def until(condition: Callable[[], object], what: str = "") -> None:
    """Wait for what a thread or a process does."""
    last = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < last, f"never came: {what}"
        time.sleep(0.01)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


def program(name: str) -> str:
    """Path of a program of Debian's packages mosquitto and mosquitto-clients."""
    path = shutil.which(name, path=os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"]))
    assert path, f"{name} is needed for this test; next: sudo apt-get install mosquitto mosquitto-clients"
    return path


class BrokerProcess(Protocol):
    """A broker that can be stopped and started again on the same port."""

    port: int

    def start(self) -> None: ...

    def stop(self) -> None: ...


class Mosquitto:
    """Debian's broker. Anonymous and plain unless `options` (lines of mosquitto.conf) say otherwise."""

    def __init__(self, folder: Path, options: str = "allow_anonymous true") -> None:
        self.port = free_port()
        self._config = folder / "mosquitto.conf"
        user = "user root\n" if os.name == "posix" and os.getuid() == 0 else ""
        self._config.write_text(f"{user}set_tcp_nodelay true\nlistener {self.port} 127.0.0.1\n{options}\n")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [program("mosquitto"), "-c", str(self._config)]
        self._process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        until(self._answers, "an answering mosquitto")

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(PATIENCE_S)

    def signal(self, number: int) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def _answers(self) -> bool:
        try:
            socket.create_connection(("127.0.0.1", self.port), 1).close()
        except OSError:
            return False
        return True


class Embedded:
    """Our own, as the daemon starts it."""

    def __init__(self) -> None:
        self.port = free_port()
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        command = [sys.executable, "-m", "daq.sinks.broker", "--ports", str(self.port)]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        assert json.loads(self.process.stdout.readline()) == {"port": self.port}

    def stop(self) -> None:
        if self.process is not None:
            self.process.communicate(timeout=PATIENCE_S)


@dataclass(frozen=True)
class Seen:
    """One message as the watcher got it."""

    topic: str
    body: str
    qos: int
    retained: bool

    @property
    def json(self) -> dict[str, Any]:
        tree = json.loads(self.body, parse_constant=_no_constants)
        assert isinstance(tree, dict)
        return tree


def _no_constants(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")


class Watcher:
    """`mosquitto_sub` on everything: what a generic client sees. It subscribes before the block begins."""

    def __init__(self, port: int, *options: str, topic: str = "boretight/#") -> None:
        command = [program("mosquitto_sub"), "-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", topic]
        self._command = [*command, "-t", "ready", "-F", "%t\t%q\t%r\t%p", *options]
        self._port = port
        self.seen: list[Seen] = []
        self._ready = False

    def __enter__(self) -> Self:
        self._process = subprocess.Popen(self._command, stdout=subprocess.PIPE, text=True)
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()
        until(self._knock, "a subscribed watcher")
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(PATIENCE_S)
        self._thread.join(PATIENCE_S)

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            topic, qos, retained, body = line.rstrip("\n").split("\t", 3)
            if topic == "ready":
                self._ready = True
            else:
                self.seen.append(Seen(topic, body, int(qos), retained == "1"))

    def _knock(self) -> bool:
        publish(self._port, "ready", "?")
        time.sleep(0.02)
        return self._ready

    def on(self, name: str) -> list[Seen]:
        """Messages on `status`, `last/2` and so on, of any bench."""
        return [message for message in list(self.seen) if message.topic.split("/", 3)[-1] == name]

    def bodies(self, name: str) -> list[str]:
        return [message.body for message in self.on(name)]


class Cable:
    """A line to a broker that can be cut: both ends lose their connection without a goodbye. While `broken`, every
    new connection is lost at once."""

    def __init__(self, port: int) -> None:
        self._target = port
        self.broken = False
        self._ends: list[asyncio.StreamWriter] = []

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._join, "127.0.0.1", 0)
        self.port = int(self._server.sockets[0].getsockname()[1])
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.close()
        self.cut()

    def cut(self) -> None:
        for end in self._ends:
            end.transport.abort()
        self._ends.clear()

    async def _join(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self.broken:
            writer.transport.abort()
            return
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._target)
        self._ends += [writer, far_writer]
        await asyncio.gather(_carry(reader, far_writer), _carry(far_reader, writer), return_exceptions=True)


async def _carry(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    while data := await source.read(65_536):
        target.write(data)
    target.close()


def publish(port: int, topic: str, body: str, *options: str) -> None:
    command = [program("mosquitto_pub"), "-h", "127.0.0.1", "-p", str(port), "-t", topic, "-m", body, *options]
    subprocess.run(command, check=True, timeout=PATIENCE_S)
