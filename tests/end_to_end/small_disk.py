"""A disk that can be filled, and given room again, while a daemon writes on it."""

from __future__ import annotations

import errno
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

import psutil

DISK_BYTES = 16 << 20
BLOCK = b"\0" * 4096
LIMIT_BYTES = 48 << 10
"""More than a daemon ever says, and less than it stores in some seconds."""


class SmallDisk(Protocol):
    """`pid` is the process that is to feel it."""

    def fill(self, pid: int) -> None: ...

    def make_room(self, pid: int) -> None: ...


class Tmpfs:
    """A file system in memory of its own, and a file that takes all of its room."""

    def __init__(self, folder: Path) -> None:
        self._ballast = folder / "ballast"

    def fill(self, pid: int) -> None:
        with self._ballast.open("wb", buffering=0) as ballast:
            try:
                while True:
                    ballast.write(BLOCK)
            except OSError as error:
                assert error.errno == errno.ENOSPC

    def make_room(self, pid: int) -> None:
        self._ballast.unlink()


class FileSizeLimit:
    """What a user without rights can do: no file of the process may grow beyond a limit."""

    def fill(self, pid: int) -> None:
        psutil.Process(pid).rlimit(psutil.RLIMIT_FSIZE, (LIMIT_BYTES, psutil.RLIM_INFINITY))

    def make_room(self, pid: int) -> None:
        psutil.Process(pid).rlimit(psutil.RLIMIT_FSIZE, (psutil.RLIM_INFINITY, psutil.RLIM_INFINITY))


@contextmanager
def small_disk(folder: Path) -> Iterator[SmallDisk]:
    """On `folder`, which must be there and be empty: a disk of its own where that is allowed, else a limit."""
    if not _mounted(folder):
        yield FileSizeLimit()
        return
    try:
        yield Tmpfs(folder)
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)


def _mounted(folder: Path) -> bool:
    if os.getuid() != 0:
        return False
    command = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", folder]
    return subprocess.run(command, capture_output=True).returncode == 0
