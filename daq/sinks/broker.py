"""The embedded MQTT broker, for a bench that has none: amqtt on loopback, in a child process of its own.

`python -m daq.sinks.broker --port 1883` prints one JSON line when it is ready, and ends when its standard input
ends: so nothing is left behind when the parent dies, however it dies. Retained messages live in memory only.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import json
import logging
import os
import signal
import subprocess
import sys
import threading
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal, Self

from daq.errors import UnavailableError

if TYPE_CHECKING:
    from amqtt.broker import Broker

HOST = "127.0.0.1"
DEFAULT_PORT = 1883
PROTOCOL: Literal["3.1.1"] = "3.1.1"
"""The only version of MQTT that it speaks; to one that is offered MQTT 5 with a will it does not even answer."""

START_S = 20.0
STOP_S = 3.0
LOOK_EACH_S = 1.0

_log = logging.getLogger(__name__)


class EmbeddedBroker:
    """`async with EmbeddedBroker() as broker:` a broker on 127.0.0.1 at `broker.port`, for as long as the block.

    The default port gives way to a free one if it is taken; 0 takes a free one; any other port must be free, or
    UnavailableError is raised. A broker that dies is started again on the same port.
    """

    def __init__(self, port: int = DEFAULT_PORT) -> None:
        self.port = port
        self._process: subprocess.Popen[str] | None = None
        self._watch: asyncio.Task[None] | None = None

    @property
    def pid(self) -> int | None:
        return self._process.pid if self._process else None

    async def __aenter__(self) -> Self:
        try:
            await self._start([self.port, 0] if self.port == DEFAULT_PORT else [self.port])
        except BaseException:
            self._stop()
            raise
        self._watch = asyncio.create_task(self._keep_alive(), name="embedded-broker")
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._watch is not None:
            self._watch.cancel()
            await asyncio.wait({self._watch})
        await asyncio.to_thread(self._stop)

    async def _start(self, ports: list[int]) -> None:
        command = [sys.executable, "-P", "-m", __spec__.name, "--ports", ",".join(map(str, ports))]
        # Not asyncio's subprocesses: on Windows they need the one event loop that the MQTT client cannot use.
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._process.stdout is not None
        line = ""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(START_S):
                line = await asyncio.to_thread(self._process.stdout.readline)
        self.port = _port_of(line)

    def _stop(self) -> None:
        """Close its standard input, and wait for it to go; kill it if it does not."""
        if self._process is None:
            return
        assert self._process.stdin is not None and self._process.stdout is not None
        with contextlib.suppress(OSError):
            self._process.stdin.close()
        try:
            self._process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process.stdout.close()

    async def _keep_alive(self) -> None:
        while True:
            await asyncio.sleep(LOOK_EACH_S)
            if self._process is not None and self._process.poll() is not None:
                _log.warning("The embedded MQTT broker ended (code %s); starting it again.", self._process.returncode)
                self._stop()
                await self._start_again()

    async def _start_again(self) -> None:
        """Whatever is in the way, the next look tries once more: also after a child that lives and does not answer."""
        try:
            await self._start([self.port])
        except Exception as error:
            _log.warning("The embedded MQTT broker cannot be started again: %s", error)
            await asyncio.to_thread(self._stop)


def _port_of(line: str) -> int:
    """From what the child said when it started. Raises UnavailableError."""
    said: dict[str, Any] = json.loads(line or "{}")
    if "port" in said:
        return int(said["port"])
    if said.get("errno") == errno.EADDRINUSE:
        raise UnavailableError(
            f"Port {said['wanted']} of this computer is taken by another program, so the embedded MQTT broker cannot "
            "use it.",
            todo="If that is an MQTT broker, use it: set mqtt.host. Else set another mqtt.port, or 0 for any free one.",
            evidence=said["error"],
        )
    raise UnavailableError(
        "The embedded MQTT broker did not start.",
        todo="Set mqtt.host to a broker of your own, or report this with the evidence.",
        evidence=said.get("error", "it ended without a word"),
    )


# ---- in the child


async def _serve(ports: list[int], gone: asyncio.Event) -> dict[str, Any]:
    """Run on the first port that is free until `gone`; what went wrong if none is."""
    said: dict[str, Any] = {}
    for port in ports:
        try:
            broker = await _started(port)
        except Exception as error:
            cause = error.__cause__
            said = {"error": str(cause or error), "wanted": port, "errno": getattr(cause, "errno", None)}
            continue
        print(json.dumps({"port": _bound_port(broker)}), flush=True)
        await gone.wait()
        with contextlib.suppress(Exception):
            async with asyncio.timeout(STOP_S / 2):
                await broker.shutdown()
        return {}
    return said


async def _started(port: int) -> Broker:
    from amqtt.broker import Broker
    from amqtt.contexts import BrokerConfig, ListenerConfig
    from amqtt.session import Session

    class ProperBroker(Broker):  # type: ignore[misc]
        """amqtt 0.12 sends a client that connects what is retained for the subscriptions of everybody else, and while
        it is at it may lose what that client publishes. Ref: MQTT 3.1.1, 3.3.1.3: retained messages follow a
        subscription."""

        async def _publish_retained_messages_for_subscription(self, wanted: tuple[str, int], session: Session) -> None:
            if any(subscriber is session for subscriber, _ in self.subscriptions.get(wanted[0], [])):
                await super()._publish_retained_messages_for_subscription(wanted, session)

    config = BrokerConfig(
        listeners={"default": ListenerConfig(bind=f"{HOST}:{port}")},
        plugins={"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    )
    broker = ProperBroker(config)
    await broker.start()
    return broker


def _bound_port(broker: Broker) -> int:
    server = broker._servers["default"].instance  # amqtt does not tell which port it was given
    assert isinstance(server, asyncio.Server)
    return int(server.sockets[0].getsockname()[1])


async def _main(ports: list[int]) -> int:
    gone = asyncio.Event()
    loop = asyncio.get_running_loop()

    def watch_parent() -> None:
        while os.read(0, 4096):  # not sys.stdin: a thread inside its buffer would abort the interpreter's exit
            pass
        loop.call_soon_threadsafe(gone.set)

    threading.Thread(target=watch_parent, daemon=True).start()
    said = await _serve(ports, gone)
    if said:
        print(json.dumps(said), flush=True)
    return 69 if said else 0


if __name__ == "__main__":
    import argparse

    arguments = argparse.ArgumentParser()
    arguments.add_argument("--ports", default=str(DEFAULT_PORT), help="tried in this order; 0 is any free one")
    # Ctrl-C, a closed terminal and a service manager signal the whole group: the broker must outlive the goodbye of
    # its parent, and then goes by itself.
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    logging.disable(logging.CRITICAL)
    sys.exit(asyncio.run(_main([int(port) for port in arguments.parse_args().ports.split(",")])))
