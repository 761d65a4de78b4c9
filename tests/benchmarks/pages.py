"""Open pages, as far as a daemon can tell: plain sockets that read its stream of events as fast as it comes."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit

START_S = 30.0


@contextmanager
def looking(link_file: Path, count: int) -> Iterator[None]:
    """`count` of them, from when the daemon has left its link until the end of the block."""
    with ExitStack() as stack:
        for _ in range(count):
            page = stack.enter_context(_opened(link_file))
            threading.Thread(target=_read, args=(page,), daemon=True).start()
        yield


def _opened(link_file: Path) -> socket.socket:
    last_s = time.monotonic() + START_S
    while not link_file.exists():
        assert time.monotonic() < last_s, "the daemon serves no page"
        time.sleep(0.05)
    place = urlsplit(link_file.read_text())
    page = socket.create_connection((place.hostname, place.port))
    page.sendall(f"GET /stream HTTP/1.1\r\nHost: {place.netloc}\r\n\r\n".encode())
    return page


def _read(page: socket.socket) -> None:
    with suppress(OSError):
        while page.recv(65_536):
            pass
