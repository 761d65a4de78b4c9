"""The bytes of a raw log: its header, its records, and finding them again in a damaged file. Pure.

A file, all little-endian:

    header   magic (8 bytes) | version (u16) | length (u32) | JSON, UTF-8 | CRC-32 of all before it (u32)
    record   mark A6 E1 | type (u8) | length (u32) | time (f64) | payload | CRC-32 of all before it (u32)

The time is the host's clock in seconds since 1970 as the program had it, bit for bit: a replay must be able to
repeat what was computed from it. Types: 1 a chunk, its bytes as payload; all others carry JSON: 2 a mark, 3 link up,
4 link down, 5 inputs that could not be written here, 6 the end, which may name the file that continues, 7 the events
of a test that is gone on with.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field, fields
from enum import IntEnum
from typing import Any

from daq.errors import DataError
from daq.records import Board, Chunk, Input, LineFormat, LinkDown, LinkUp, Mark, ReferenceMode, Resume
from daq.sinks.event_json import event_from, kind_of, plain

MAGIC = b"\x89BTLOG\r\n"
VERSION = 1
SYNC = b"\xa6\xe1"
MAX_PAYLOAD = 1 << 20
MAX_RESUME = 1 << 24
"""The events of a long test, with the budgets of its readings, are more than any other record holds."""
MAX_HEADER = 1 << 20

_PROLOGUE = struct.Struct("<8sHI")
_HEAD = struct.Struct("<2sBId")
_CRC = struct.Struct("<I")
OVERHEAD = _HEAD.size + _CRC.size

NEED_MORE = 0
NO_RECORD = -1


class RecordType(IntEnum):
    CHUNK = 1
    MARK = 2
    LINK_UP = 3
    LINK_DOWN = 4
    LOST = 5
    END = 6
    RESUME = 7


@dataclass(frozen=True, slots=True)
class RawLogHeader:
    """What was known when the file was begun. A file that continues another names it in `previous`, and the board
    that was connected then in `link`."""

    bench: str = ""
    boot: str = ""
    created_utc: str = ""
    software: str = ""
    config: Mapping[str, Any] = field(default_factory=dict)
    calibration: Mapping[str, Any] = field(default_factory=dict)
    previous: str = ""
    link: Mapping[str, Any] | None = None

    def linked(self) -> LinkUp | None:
        """The board that was connected when the file was begun."""
        return None if self.link is None else LinkUp(float(self.link["at_s"]), board_from(self.link["board"]))


@dataclass(frozen=True, slots=True)
class Lost:
    """Inputs that could not be written at this place, e.g. because the disk was full."""

    at_s: float
    inputs: int
    payload_bytes: int
    reason: str


@dataclass(frozen=True, slots=True)
class End:
    """The writer closed the file; `next_file` continues it, if any."""

    at_s: float
    next_file: str = ""


@dataclass(frozen=True, slots=True)
class Damage:
    """Bytes that are no record. `to_end`: nothing comes after them, as in a file that was cut."""

    offset: int
    length: int
    to_end: bool


Entry = Input | Lost | End


def encode_header(header: RawLogHeader) -> bytes:
    content = {each.name: getattr(header, each.name) for each in fields(header)}
    text = json.dumps(content, default=_plain).encode()
    plain = _PROLOGUE.pack(MAGIC, VERSION, len(text)) + text
    return plain + _CRC.pack(zlib.crc32(plain))


def decode_header(start: bytes) -> tuple[RawLogHeader, int]:
    """The header and its length, from the first bytes of a file (MAX_HEADER of them, or all there are).

    DataError if it is no raw log or a newer one. A header that is damaged or cut is returned empty, of length 8: the
    records behind it can still be found.
    """
    _check_prologue(start)
    _, _, length = _PROLOGUE.unpack_from(start)
    end = _PROLOGUE.size + length + _CRC.size
    if start[end - _CRC.size : end] != _CRC.pack(zlib.crc32(start[: end - _CRC.size])):
        return RawLogHeader(), len(MAGIC)
    content = json.loads(start[_PROLOGUE.size : end - _CRC.size])
    return RawLogHeader(**_known(RawLogHeader, content)), end


def encode_entry(entry: Entry) -> bytes:
    """One record; more than one for a chunk that is longer than MAX_PAYLOAD, which means the same."""
    if isinstance(entry, Chunk):
        parts = [entry.data[at : at + MAX_PAYLOAD] for at in range(0, len(entry.data), MAX_PAYLOAD)]
        return b"".join(_record(RecordType.CHUNK, entry.arrived_s, part) for part in parts or [b""])
    kind, content = _content(entry)
    return _record(kind, entry.at_s, json.dumps(content).encode())


def scan(blocks: Iterable[bytes], offset: int = 0) -> Iterator[Entry | Damage]:
    """The records in a stream of bytes that begins at `offset` of the file, and the places where there are none.

    A record counts only if its checksum is right; after damage, the next such record is looked for byte by byte.
    A right record of an unknown type is passed over. Memory: one block and one record.
    """
    buffer, at, damaged_from = b"", 0, -1
    for block in _with_end(blocks):
        buffer, offset, at = buffer[at:] + block, offset + at, 0
        while (size := _record_size(buffer, at, last=not block)) != NEED_MORE:
            if size == NO_RECORD:
                damaged_from = offset + at if damaged_from < 0 else damaged_from
                at = _next_sync(buffer, at + 1)
                continue
            if damaged_from >= 0:
                yield Damage(damaged_from, offset + at - damaged_from, to_end=False)
                damaged_from = -1
            entry = _entry(buffer, at, size)
            at += size
            if entry is not None:
                yield entry
    if damaged_from >= 0:
        yield Damage(damaged_from, offset + at - damaged_from, to_end=True)


def board_from(content: Mapping[str, Any]) -> Board:
    known = _known(Board, content)
    known["line_format"] = LineFormat(known["line_format"])
    known["reference_mode"] = ReferenceMode(known["reference_mode"])
    return Board(**known)


def _with_end(blocks: Iterable[bytes]) -> Iterator[bytes]:
    yield from (block for block in blocks if block)
    yield b""


def _record_size(buffer: bytes, at: int, last: bool) -> int:
    """The length of the record that begins at `at`, NO_RECORD if none does, NEED_MORE if that cannot be told yet."""
    here = len(buffer) - at
    if not here:
        return NEED_MORE
    unfinished = NO_RECORD if last else NEED_MORE
    if here < OVERHEAD:
        return unfinished if SYNC.startswith(buffer[at : at + len(SYNC)]) else NO_RECORD
    sync, kind, length, _ = _HEAD.unpack_from(buffer, at)
    if sync != SYNC or (length > MAX_PAYLOAD and (kind != RecordType.RESUME or length > MAX_RESUME)):
        return NO_RECORD
    size = OVERHEAD + int(length)
    if here < size:
        return unfinished
    crc_at = at + size - _CRC.size
    right = zlib.crc32(buffer[at:crc_at]) == _CRC.unpack_from(buffer, crc_at)[0]
    return size if right else NO_RECORD


def _next_sync(buffer: bytes, at: int) -> int:
    found = buffer.find(SYNC, at)
    if found >= 0:
        return found
    return max(at, len(buffer) - buffer.endswith(SYNC[:1]))


def _record(kind: RecordType, time_s: float, payload: bytes) -> bytes:
    plain = _HEAD.pack(SYNC, kind, len(payload), time_s) + payload
    return plain + _CRC.pack(zlib.crc32(plain))


def _content(entry: Mark | LinkUp | LinkDown | Resume | Lost | End) -> tuple[RecordType, dict[str, Any]]:
    match entry:
        case Mark(_, kind, text):
            return RecordType.MARK, {"kind": kind, "text": text}
        case LinkUp(_, board):
            return RecordType.LINK_UP, asdict(board)
        case LinkDown(_, reason):
            return RecordType.LINK_DOWN, {"reason": reason}
        case Lost(_, inputs, payload_bytes, reason):
            return RecordType.LOST, {"inputs": inputs, "payload_bytes": payload_bytes, "reason": reason}
        case End(_, next_file):
            return RecordType.END, {"next_file": next_file}
        case Resume(_, events):
            return RecordType.RESUME, {"events": [{"event": kind_of(event), **plain(event)} for event in events]}


def _entry(buffer: bytes, at: int, size: int) -> Entry | None:
    """The entry of a right record; None for a type or a content that this version does not know."""
    _, kind, _, time_s = _HEAD.unpack_from(buffer, at)
    payload = buffer[at + _HEAD.size : at + size - _CRC.size]
    if kind == RecordType.CHUNK:
        return Chunk(time_s, payload)
    try:
        return _from_content(kind, time_s, json.loads(payload))
    except (ValueError, TypeError, LookupError):
        return None


def _from_content(kind: int, time_s: float, content: dict[str, Any]) -> Entry | None:
    match kind:
        case RecordType.MARK:
            return Mark(time_s, content["kind"], content["text"])
        case RecordType.LINK_UP:
            return LinkUp(time_s, board_from(content))
        case RecordType.LINK_DOWN:
            return LinkDown(time_s, content["reason"])
        case RecordType.LOST:
            return Lost(time_s, content["inputs"], content["payload_bytes"], content["reason"])
        case RecordType.END:
            return End(time_s, content["next_file"])
        case RecordType.RESUME:
            return Resume(time_s, tuple(_event(each) for each in content["events"]))
    return None


def _event(content: dict[str, Any]) -> Any:
    return event_from(content["event"], content)


TOO_NEW = "Replay it with the version of boretight that wrote it, or a later one."


def _check_prologue(start: bytes) -> None:
    if not start.startswith(MAGIC):
        damaged = start[1:6] == MAGIC[1:6]
        what = "damaged on the way (as by a transfer in text mode)" if damaged else "no raw log"
        todo = "A raw log is a .btlog or .btlog.gz file that the daemon or the simulator wrote."
        raise DataError(f"This file is {what}", todo, f"it begins with {start[:24]!r}" if start else "it is empty")
    if len(start) < _PROLOGUE.size:
        raise DataError("This raw log is cut before it begins", "There is nothing in it.", f"{len(start)} bytes")
    version = _PROLOGUE.unpack_from(start)[1]
    if version > VERSION:
        raise DataError(f"This raw log has version {version} of the format; this program reads {VERSION}", TOO_NEW)


def _known(kind: type[Any], content: Mapping[str, Any]) -> dict[str, Any]:
    """What of the content this version knows; the rest is of a later one."""
    names = {each.name for each in fields(kind)}
    return {name: value for name, value in content.items() if name in names}


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else str(value)
