"""Reading a raw log: every input that is in it, and an honest account of what is not."""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from daq.errors import UsageError
from daq.records import Chunk, Input, LineFormat, LinkDown, LinkUp
from daq.sinks.disk import storage_errors
from daq.sinks.raw_log_format import MAX_HEADER, Damage, End, Lost, RawLogHeader, decode_header, scan

BLOCK = 1 << 20
GZIP_MAGIC = b"\x1f\x8b"

Opened = io.BufferedReader | gzip.GzipFile


class Ended(StrEnum):
    """CLOSED: the writer ended it. OPEN: it stops after a whole record; the writer still runs, or was killed.
    CUT: it stops within a record."""

    CLOSED = "closed"
    OPEN = "open"
    CUT = "cut"


@dataclass(slots=True)
class RawLogInfo:
    """What was found, up to where the reading has come. Offsets count uncompressed bytes of the file they are in."""

    header: RawLogHeader
    files: list[Path] = field(default_factory=list)
    inputs: int = 0
    ended: Ended = Ended.OPEN
    cut_at: int | None = None
    damaged: list[tuple[Path, Damage]] = field(default_factory=list)
    lost_inputs: int = 0
    missing_file: str = ""

    def complaints(self) -> list[str]:
        """One sentence for each thing that is wrong with the log; none if it is whole."""
        said = [
            f"{path.name}: {each.length} bytes at {each.offset} are damaged and were passed over."
            for path, each in self.damaged
        ]
        if self.lost_inputs:
            said.append(f"{self.lost_inputs} inputs could not be written when the log was made.")
        if self.ended is Ended.CUT:
            said.append(f"{self.files[-1].name} is cut at byte {self.cut_at}; all before that was read.")
        if self.ended is Ended.OPEN:
            said.append(f"{self.files[-1].name} was not closed: its writer was killed, or still runs.")
        if self.missing_file:
            said.append(f"The log goes on in {self.missing_file}, which is not beside it.")
        return said


class RawLogReader:
    """The inputs of a raw log, and of the files that continue it, in order; each iteration begins anew.

    UsageError if there is no such file, DataError if it is no raw log or of a newer version. Anything else, damage
    or a cut, ends up in `info`. A log that begins in the middle of a run yields the board that was connected first.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        if not path.is_file():
            raise UsageError(f"There is no file {path}", "Name a .btlog or .btlog.gz file; the daemon says where.")
        with storage_errors(path, "read the raw log"), _opened(path) as (file, _):
            self.header, _ = decode_header(_start(file))
        self.info = RawLogInfo(self.header)
        self.bytes_read = 0
        """Bytes read from the disk so far, compressed ones where the file is compressed; for a progress bar."""
        self._link: LinkUp | None = None
        self._last_s = 0.0

    @property
    def bytes_total(self) -> int:
        """The size of all files that are known so far."""
        return sum(path.stat().st_size for path in self.info.files or [self.path])

    def __iter__(self) -> Iterator[Input]:
        self.info, self.bytes_read, self._link = RawLogInfo(self.header), 0, None
        if (link := self.header.linked()) is not None:
            yield self._seen(link)
        path: Path | None = self.path
        while path is not None:
            self.info.files.append(path)
            self.info.ended, next_file = Ended.OPEN, ""
            with storage_errors(path, "read the raw log"):
                for entry in self._entries(path):
                    if isinstance(entry, Damage):
                        yield from self._damaged(path, entry)
                    elif isinstance(entry, Lost):
                        self.info.lost_inputs += entry.inputs
                        yield from self._interrupted("the raw log misses inputs here")
                    elif isinstance(entry, End):
                        next_file, self.info.ended = entry.next_file, Ended.CLOSED
                    else:
                        yield self._seen(entry)
            path = self._following(path, next_file)

    def _entries(self, path: Path) -> Iterator[Input | Lost | End | Damage]:
        with _opened(path) as (file, disk):
            _, length = decode_header(_start(file))
            file.seek(length)
            yield from scan(self._counted(_blocks(file), disk), length)

    def _counted(self, blocks: Iterator[bytes], disk: io.BufferedReader) -> Iterator[bytes]:
        before = self.bytes_read
        for block in blocks:
            self.bytes_read = before + disk.tell()
            yield block
        self.bytes_read = before + disk.tell()

    def _damaged(self, path: Path, damage: Damage) -> Iterator[Input]:
        if damage.to_end:
            self.info.ended, self.info.cut_at = Ended.CUT, damage.offset
            return
        self.info.damaged.append((path, damage))
        yield from self._interrupted("the raw log is damaged here")

    def _seen(self, item: Input) -> Input:
        self.info.inputs += 1
        self.info.ended = Ended.OPEN
        self._last_s = item.arrived_s if isinstance(item, Chunk) else item.at_s
        if isinstance(item, LinkUp):
            self._link = item
        elif isinstance(item, LinkDown):
            self._link = None
        return item

    def _interrupted(self, reason: str) -> Iterator[Input]:
        """A framed board's lines show by themselves that some are missing. A bare board's do not, and two halves
        could make one wrong number: there a new segment begins."""
        if self._link is not None and self._link.board.line_format is LineFormat.BARE:
            yield LinkDown(self._last_s, reason)
            yield LinkUp(self._last_s, self._link.board)

    def _following(self, path: Path, name: str) -> Path | None:
        if not name:
            return None
        for candidate in (path.with_name(name), path.with_name(f"{name}.gz")):
            if candidate.is_file():
                return candidate
        self.info.missing_file = name
        return None


def read_raw_log(path: Path) -> RawLogReader:
    """The inputs of a raw log; see RawLogReader."""
    return RawLogReader(path)


@contextmanager
def _opened(path: Path) -> Iterator[tuple[Opened, io.BufferedReader]]:
    """The content of the file, expanded if need be, and the file on the disk."""
    with path.open("rb") as disk:
        squeezed = disk.read(len(GZIP_MAGIC)) == GZIP_MAGIC
        disk.seek(0)
        yield (gzip.GzipFile(fileobj=disk) if squeezed else disk), disk


def _start(file: Opened) -> bytes:
    blocks, start = _blocks(file), b""
    while len(start) < MAX_HEADER and (block := next(blocks, b"")):
        start += block
    file.seek(0)
    return start


def _blocks(file: Opened) -> Iterator[bytes]:
    """Up to the end, or to where compressed data are cut or damaged."""
    try:
        while block := file.read1(BLOCK):
            yield block
    except (EOFError, zlib.error, gzip.BadGzipFile):
        return
