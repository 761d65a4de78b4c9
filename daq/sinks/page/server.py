"""uvicorn in the daemon's own event loop: one socket, no signals of its own, and an end that waits for nobody.

The socket is there from the beginning; what serves it is brought in, beside the flow, when the first browser knocks. A
bench that nobody looks at does without it.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from daq.errors import UnavailableError
from daq.sinks.page.settings import DEFAULT_PORT, PageSettings

if TYPE_CHECKING:
    import uvicorn
    from starlette.types import ASGIApp

STOP_S = 3.0
TICK_S = 1.0
MOST_CONNECTIONS = 128


class PageServer:
    """`start` gives the port; the default port gives way to a free one, as that of the embedded broker does."""

    def __init__(self) -> None:
        self._server: uvicorn.Server | None = None
        self._task: asyncio.Task[None] | None = None
        self._stopping = asyncio.Event()

    async def start(self, app: Callable[[], ASGIApp], settings: PageSettings) -> int:
        """`app` is made, in a thread, for the first browser. Raises UnavailableError if the port is taken."""
        listener = _listener(settings)
        self._task = asyncio.create_task(self._serve(app, listener), name="page")
        return int(listener.getsockname()[1])

    async def stop(self) -> None:
        if self._task is None:
            return
        if self._server is not None:
            self._server.should_exit = True
            self._stopping.set()
            await asyncio.wait({self._task}, timeout=STOP_S)
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)
        self._server = self._task = None

    async def _serve(self, app: Callable[[], ASGIApp], listener: socket.socket) -> None:
        with listener:
            await _knocked(listener)
            self._server = await asyncio.to_thread(lambda: _server(app(), self._stopping))
            await self._server.serve([listener])


def _listener(settings: PageSettings) -> socket.socket:
    """Bound here, so that a port that is taken is our error to tell, not the end of the process."""
    ports = [settings.port, 0] if settings.port == DEFAULT_PORT else [settings.port]
    for port in ports:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((settings.listens_on, port))
            listener.listen()
            listener.setblocking(False)
            return listener
        except OSError as error:
            listener.close()
            fault = error
    raise UnavailableError(
        f"The page cannot be served at {settings.listens_on}, port {settings.port}.",
        "Name another port in [page], or 0 for a free one.",
        str(fault),
    ) from fault


async def _knocked(listener: socket.socket) -> None:
    """Until somebody connects; who does waits in the queue of the socket."""
    loop, somebody = asyncio.get_running_loop(), asyncio.Event()
    loop.add_reader(listener, somebody.set)
    try:
        await somebody.wait()
    finally:
        loop.remove_reader(listener)


def _server(app: ASGIApp, stopping: asyncio.Event) -> uvicorn.Server:
    import uvicorn

    class Server(uvicorn.Server):
        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            """The daemon has them."""
            yield

        async def main_loop(self) -> None:
            """Its own looks ten times a second whether to stop; for the date of its answers once is enough."""
            while not await self.on_tick(0):
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(TICK_S):
                        await stopping.wait()

    config = uvicorn.Config(
        app, http="h11", ws="none", lifespan="off", log_config=None, access_log=False, server_header=False,
        proxy_headers=False, limit_concurrency=MOST_CONNECTIONS, timeout_graceful_shutdown=1,
        h11_max_incomplete_event_size=16_384,
    )  # fmt: skip
    config.load()  # here, as it imports more
    return Server(config)
