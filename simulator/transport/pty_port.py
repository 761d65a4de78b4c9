"""A board on a pseudo-terminal. POSIX only: to be imported where it is used, never on Windows."""

from __future__ import annotations

import os
import pty
import select
import tempfile
import time
import tty
from contextlib import suppress
from pathlib import Path

from simulator.errors import PortError
from simulator.transport.port import READ_BYTES, append_what_fits


class PtyPort:
    """Behind a symbolic link that stays the same when the cable is pulled and put back; `url` is that link.

    Without `link` one is made in a directory of its own, which `close` removes. Raises PortError when something else
    is in the place of the link.
    """

    def __init__(self, link: Path | None = None) -> None:
        self._directory = tempfile.TemporaryDirectory(prefix="boretight-") if link is None else None
        self._link = link or Path(self._directory.name if self._directory else "", "board")
        if self._link.exists() and not self._link.is_symlink():
            raise PortError(f"{self._link} is there and is no symbolic link.", "Name another path with --link.")
        self.url = str(self._link)
        self.listening = False
        self.lost_bytes = 0
        self._master: int | None = None
        self._pending = bytearray()

    @property
    def pending_bytes(self) -> int:
        return len(self._pending)

    def plug(self) -> None:
        if self._master is not None:
            return
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        path = os.ttyname(slave)
        os.close(slave)
        self._point_link_at(path)

    def unplug(self) -> None:
        if self._master is None:
            return
        self._link.unlink(missing_ok=True)
        os.close(self._master)
        self._master, self.listening = None, False
        self._pending.clear()

    def exchange(self, data: bytes) -> bytes:
        if self._master is None:
            return b""
        received = self._receive(self._master)
        if self.listening:
            self.lost_bytes += append_what_fits(self._pending, data)
            self._send(self._master)
        else:
            self._pending.clear()
        return received

    def wait(self, seconds: float) -> None:
        if self._master is not None and self.listening:
            select.select([self._master], [], [], seconds)
        else:
            time.sleep(seconds)

    def close(self) -> None:
        self.unplug()
        if self._directory is not None:
            self._directory.cleanup()

    def _receive(self, master: int) -> bytes:
        """Reading the master fails with EIO (Linux), or gives nothing (BSD), while nobody has the other end open."""
        try:
            received = os.read(master, READ_BYTES)
        except BlockingIOError:
            self.listening = True
            return b""
        except OSError:
            received = b""
        self.listening = bool(received)
        return received

    def _send(self, master: int) -> None:
        with suppress(OSError):
            while self._pending:
                del self._pending[: os.write(master, self._pending)]

    def _point_link_at(self, path: str) -> None:
        new = self._link.with_name(f"{self._link.name}.new")
        try:
            new.unlink(missing_ok=True)
            new.symlink_to(path)
            new.replace(self._link)
        except OSError as error:
            what = f"The link {self._link} to the pseudo-terminal cannot be made."
            raise PortError(what, "Name a path in a directory of yours with --link.", str(error)) from error
