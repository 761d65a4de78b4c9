"""uvicorn in the daemon's own event loop: one socket, no signals of its own, and an end that waits for nobody."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Iterator
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

    async def start(self, app: ASGIApp, settings: PageSettings) -> int:
        """Raises UnavailableError if the port is taken."""
        listener = _listener(settings)
        self._server = _server(app, self._stopping)
        self._task = asyncio.create_task(self._server.serve([listener]), name="page")
        while not self._server.started and not self._task.done():
            await asyncio.sleep(0.01)
        return int(listener.getsockname()[1])

    async def stop(self) -> None:
        if self._server is None or self._task is None:
            return
        self._server.should_exit = True
        self._stopping.set()
        await asyncio.wait({self._task}, timeout=STOP_S)
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)
        self._server = self._task = None


def _listener(settings: PageSettings) -> socket.socket:
    """Bound here, so that a port that is taken is our error to tell, not the end of the process."""
    ports = [settings.port, 0] if settings.port == DEFAULT_PORT else [settings.port]
    for port in ports:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((settings.listens_on, port))
            return listener
        except OSError as error:
            listener.close()
            fault = error
    raise UnavailableError(
        f"The page cannot be served at {settings.listens_on}, port {settings.port}.",
        "Name another port in [page], or 0 for a free one.",
        str(fault),
    ) from fault


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

    return Server(
        uvicorn.Config(
            app, http="h11", ws="none", lifespan="off", log_config=None, access_log=False, server_header=False,
            proxy_headers=False, limit_concurrency=MOST_CONNECTIONS, timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=16_384,
        )
    )  # fmt: skip
