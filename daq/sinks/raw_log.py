"""The raw log: every input as it came, written before anything is made of it. The record of truth.

Each input is one unbuffered write, so it is with the operating system when `append` returns and survives the death
of the program; a thread makes it survive a loss of power too, about `sync_each_s` later, without holding up the
writer. See `raw_log_format` for the bytes and `raw_log_reader` for reading them.
"""

from __future__ import annotations

import contextlib
import errno
import gzip
import io
import logging
import os
import re
import time
from collections import deque
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path

from daq.records import Chunk, Input, LinkDown, LinkUp
from daq.sinks.disk import storage_error, storage_errors
from daq.sinks.raw_log_format import End, Lost, RawLogHeader, encode_entry, encode_header
from daq.sinks.raw_log_reader import RawLogInfo, RawLogReader, read_raw_log
from daq.sinks.raw_log_sync import Syncing

__all__ = ["RawLogHeader", "RawLogInfo", "RawLogReader", "RawLogWriter", "read_raw_log", "write_raw_log"]

_log = logging.getLogger(__name__)

SUFFIX = ".btlog"
MOST_MADE_UP = 256
_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)


class RawLogWriter:
    """Appends inputs to a new file in `folder`, and goes on in a next one each `file_bytes`.

    The oldest files in the folder are deleted so that all together stay below `keep_bytes`.
    `append` and `close` belong to one thread. With `sync_each_s` None only the caller syncs, by `sync`.
    StorageError if the file cannot be begun.
    """

    def __init__(
        self,
        folder: Path,
        header: RawLogHeader,
        *,
        file_bytes: int = 64 << 20,
        keep_bytes: int = 4 << 30,
        sync_each_s: float | None = 1.0,
        now: Callable[[], float] = time.time,
        write: Callable[[int, bytes], int] = os.write,
    ) -> None:
        self._folder, self._header = folder, header
        self._file_bytes, self._keep_bytes = file_bytes, keep_bytes
        self._now, self._write = now, write
        boot = re.sub(r"[^A-Za-z0-9-]+", "_", header.boot)
        self._stem = f"{datetime.fromtimestamp(now(), UTC):%Y%m%dT%H%M%SZ}-{boot}"
        self._number = 0
        self._link: LinkUp | None = None
        self._unwritten = _Unwritten()
        self._lost_before = 0
        with storage_errors(folder, "begin a raw log"):
            folder.mkdir(parents=True, exist_ok=True)
            self.path, self._fd, self._size = self._begin()
        self._syncing = Syncing(self._fd, folder)
        if sync_each_s is not None:
            self._syncing.start(sync_each_s)
        self._delete_oldest()

    @property
    def fault(self) -> str:
        """Why the newest input could not be written or synced; empty while all is well."""
        return self._unwritten.reason or self._syncing.fault

    @property
    def lost_inputs(self) -> int:
        """How many inputs are not in the log, and will not be."""
        return self._lost_before + self._unwritten.lost

    def append(self, item: Input) -> None:
        """Write one input. StorageError at the first of a row of failures only: the others are counted in silence.

        As soon as there is room again, a record tells how many inputs are missing. Marks and link changes among them
        (the newest MOST_MADE_UP) follow it late: a replay cannot do without.
        """
        record = encode_entry(item)
        if self._size + len(record) > self._file_bytes and not self._unwritten.inputs:
            with contextlib.suppress(OSError):  # as long as there is no new file, the old one goes on
                self._go_on_in_a_new_file()
        self._follow(item)
        try:
            self._write_whole(self._unwritten.as_records() + record)
        except OSError as error:
            first = not self._unwritten.inputs
            self._unwritten.add(item, record, f"{error.strerror or error}")
            if first:
                raise storage_error(self.path, "write the raw log", error) from error
        else:
            self._lost_before += self._unwritten.lost
            self._unwritten = _Unwritten()

    def sync(self) -> None:
        """Make all that was appended survive a loss of power. For any thread. StorageError if the disk fails."""
        with storage_errors(self.path, "sync the raw log"):
            self._syncing.sync()

    def close(self) -> None:
        """End the file and sync it. What a full disk refuses now is lost without an error."""
        if self._fd < 0:
            return
        with contextlib.suppress(OSError):
            self._write_whole(self._unwritten.as_records() + encode_entry(End(self._now())))
        self._syncing.stop()
        with contextlib.suppress(OSError):
            self._syncing.sync()
        os.close(self._fd)
        self._fd = -1

    def _write_whole(self, data: bytes) -> None:
        """All of it, or else nothing of it is left in the file."""
        done = 0
        try:
            while done < len(data):
                done += self._write(self._fd, data[done:])
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(self._fd, self._size)
            raise
        self._size += done
        self._syncing.dirty = True

    def _go_on_in_a_new_file(self) -> None:
        """The old file names the new one, and it the old one. OSError leaves all as it was."""
        path, fd, size = self._begin(previous=self.path.name)
        try:
            self._write_whole(encode_entry(End(self._now(), path.name)))
        except OSError:
            os.close(fd)
            path.unlink()
            raise
        self._syncing.move(fd)
        self.path, self._fd, self._size = path, fd, size
        self._delete_oldest()

    def _begin(self, previous: str = "") -> tuple[Path, int, int]:
        created = datetime.fromtimestamp(self._now(), UTC).isoformat(timespec="microseconds")
        link = {"at_s": self._link.at_s, "board": asdict(self._link.board)} if self._link else None
        header = encode_header(replace(self._header, created_utc=created, previous=previous, link=link))
        path = self._folder / f"{self._stem}-{self._number:04d}{SUFFIX}"
        fd = os.open(path, _FLAGS, 0o644)
        try:
            if self._write(fd, header) < len(header):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        except OSError:
            os.close(fd)
            path.unlink(missing_ok=True)
            raise
        self._number += 1
        return path, fd, len(header)

    def _delete_oldest(self) -> None:
        """Names begin with the time, so they sort by age."""
        room = self._keep_bytes - self._file_bytes
        for path in sorted((p for p in self._folder.glob(f"*{SUFFIX}*") if p != self.path), reverse=True):
            with contextlib.suppress(OSError):
                room -= path.stat().st_size
                if room < 0:
                    path.unlink()
                    _log.info("deleted the old raw log %s", path.name)

    def _follow(self, item: Input) -> None:
        if isinstance(item, LinkUp):
            self._link = item
        elif isinstance(item, LinkDown):
            self._link = None


class _Unwritten:
    """The inputs that could not be written since the last one that could."""

    def __init__(self) -> None:
        self.inputs = self.payload_bytes = 0
        self.since_s = 0.0
        self.reason = ""
        self._made_up: deque[bytes] = deque(maxlen=MOST_MADE_UP)

    @property
    def lost(self) -> int:
        return self.inputs - len(self._made_up)

    def add(self, item: Input, record: bytes, reason: str) -> None:
        if not self.inputs:
            self.since_s = item.arrived_s if isinstance(item, Chunk) else item.at_s
        self.inputs += 1
        self.reason = reason
        if isinstance(item, Chunk):
            self.payload_bytes += len(item.data)
        else:
            self._made_up.append(record)

    def as_records(self) -> bytes:
        if not self.inputs:
            return b""
        lost = Lost(self.since_s, self.lost, self.payload_bytes, self.reason)
        return encode_entry(lost) + b"".join(self._made_up)


def write_raw_log(path: Path, header: RawLogHeader, inputs: Iterable[Input]) -> int:
    """Write a whole log at once, compressed if the name ends in `.gz`, and return the number of inputs.

    The same header and inputs give the same bytes. The file appears under its name when it is complete.
    """
    partial = path.with_name(path.name + ".part")
    count, last_s = 0, 0.0
    with storage_errors(path, "write the raw log"):
        try:
            with partial.open("wb") as plain, _squeezed(plain, path) as out:
                out.write(encode_header(header))
                for item in inputs:
                    out.write(encode_entry(item))
                    count, last_s = count + 1, item.arrived_s if isinstance(item, Chunk) else item.at_s
                out.write(encode_entry(End(last_s)))
            partial.replace(path)
        finally:
            partial.unlink(missing_ok=True)
    return count


def _squeezed(plain: io.BufferedWriter, path: Path) -> AbstractContextManager[io.BufferedWriter | gzip.GzipFile]:
    if path.suffix != ".gz":
        return contextlib.nullcontext(plain)
    return gzip.GzipFile("", "wb", fileobj=plain, mtime=0)
