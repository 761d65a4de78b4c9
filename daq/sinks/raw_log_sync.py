"""Making a growing file survive the loss of power without holding up its writer."""

from __future__ import annotations

import contextlib
import logging
import os
import threading
from collections.abc import Callable
from pathlib import Path

_log = logging.getLogger(__name__)

STOP_TIMEOUT_S = 5.0
sync_data: Callable[[int], None] = getattr(os, "fdatasync", os.fsync)


class Syncing:
    """Syncs an open file from a thread of its own, at most each `each_s` and only after something was written.

    The writer says so by `dirty`, and by `move` when it goes on in another file: the old one is synced and closed
    here. `fault` tells why the last attempt failed; empty while all is well.
    """

    def __init__(self, fd: int, folder: Path) -> None:
        self._fd, self._folder = fd, folder
        self._left_behind: list[int] = []
        self._folder_changed = True
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self.dirty = True
        self.fault = ""

    def start(self, each_s: float) -> None:
        self._thread = threading.Thread(target=self._run, args=(each_s,), name="raw log sync", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop the thread; a sync that hangs is left to itself."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(STOP_TIMEOUT_S)

    def move(self, fd: int) -> None:
        with self._lock:
            self._left_behind.append(self._fd)
            self._fd, self._folder_changed = fd, True

    def sync(self) -> None:
        """For any thread. Raises OSError."""
        self.dirty = False
        with self._lock:
            open_files, self._left_behind = [os.dup(self._fd), *self._left_behind], []
            folder_changed, self._folder_changed = self._folder_changed, False
        with contextlib.ExitStack() as stack:
            for fd in open_files:
                stack.callback(os.close, fd)
            for fd in open_files:
                sync_data(fd)
        if folder_changed:
            self._sync_folder()

    def _run(self, each_s: float) -> None:
        while not self._stop.wait(each_s):
            if self.dirty:
                self._try()

    def _try(self) -> None:
        try:
            self.sync()
        except OSError as error:
            if not self.fault:
                _log.warning("the raw log cannot be synced: %s", error)
            self.fault = str(error)
        else:
            self.fault = ""

    def _sync_folder(self) -> None:
        """The name of a new file must survive too. Not every system can open a folder."""
        with contextlib.suppress(OSError):
            fd = os.open(self._folder, os.O_RDONLY)
            try:
                os.fsync(fd)
            finally:
                os.close(fd)
