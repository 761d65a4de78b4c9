"""One daemon a database: a lock that the system gives back however its holder ends."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from types import TracebackType

from daq.errors import StorageError
from daq.sinks.disk import storage_errors

_FAR_BYTE = 1 << 30
"""Where Windows locks: a lock there forbids reading the locked bytes, and the name of the holder is to be read."""


class DatabaseLock:
    """Held from construction to `release`. StorageError, naming the holder, if another one holds it.

    The lock is on a small file beside the database, which stays when it is released.
    """

    def __init__(self, database: Path, holder: str) -> None:
        self.path = database.with_name(database.name + ".lock")
        with storage_errors(self.path, "lock the database"):
            self._fd = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _lock(self._fd)
        except OSError as error:
            os.close(self._fd)
            raise StorageError(
                f"The database {database} is in use by another boretight.",
                "Stop that one first, or name another database or folder in the configuration.",
                self._read_holder(),
            ) from error
        self._write_holder(holder)

    def release(self) -> None:
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1

    def __enter__(self) -> DatabaseLock:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.release()

    def _write_holder(self, holder: str) -> None:
        with storage_errors(self.path, "lock the database"):
            os.ftruncate(self._fd, 0)
            os.write(self._fd, json.dumps({"holder": holder, "pid": os.getpid()}).encode())

    def _read_holder(self) -> str:
        try:
            content = json.loads(self.path.read_text())
            return f"{content['holder']}, process {content['pid']}"
        except (OSError, ValueError, LookupError, TypeError):
            return "the holder did not say who it is"


def _lock(fd: int) -> None:
    """Raises OSError if it is locked already."""
    if sys.platform == "win32":
        import msvcrt

        os.lseek(fd, _FAR_BYTE, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        os.lseek(fd, 0, os.SEEK_SET)
    else:
        import fcntl

        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
