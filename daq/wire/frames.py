"""One frozen type for each frame, with both directions side by side. See firmware_spec/protocol.md.

`decode` takes the bytes before `*`, whose CRC has been found right, and gives None when they break the grammar.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

import numpy as np

from daq.wire.crc import seal
from daq.wire.flags import ResetCause
from daq.wire.samples import U16, SampleBlock

MAX_LINE_BYTES = 120
"""Longest line that is looked at, without CR and LF."""
MAX_TEXT_BYTES = 100
"""Longest text of a reply."""
EVIDENCE_BYTES = 64


def _seal(pattern: re.Pattern[bytes], body: bytes) -> bytes:
    """The line of a body; raises ValueError when a field does not fit its place."""
    if pattern.fullmatch(body) is None:
        raise ValueError(f"a field does not fit: {body!r}")
    return seal(body)


def _numbers(pattern: re.Pattern[bytes], body: bytes) -> list[int] | None:
    """The hexadecimal fields of a body, or None when it breaks the grammar."""
    found = pattern.fullmatch(body)
    return None if found is None else [int(digits, 16) for digits in found.groups()]


class BadReason(StrEnum):
    """Why a line was rejected; the first that applies, in this order."""

    OVERSIZE = "oversize"
    NOT_ASCII = "not_ascii"
    NO_CRC = "no_crc"
    BAD_CRC = "bad_crc"
    UNKNOWN_TYPE = "unknown_type"
    BAD_GRAMMAR = "bad_grammar"
    OUT_OF_RANGE = "out_of_range"


@dataclass(frozen=True, slots=True)
class BadFrame:
    """A line that was rejected: data too, to be counted. `evidence` is its beginning, at most 64 bytes."""

    reason: BadReason
    evidence: bytes

    @classmethod
    def of(cls, reason: BadReason, line: bytes) -> BadFrame:
        return cls(reason, line[:EVIDENCE_BYTES])


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """Sent each second. `dropped` counts frames that the board could not send since boot, modulo 2^16;
    `errors` is how many errors wait in its queue."""

    clock_us: int
    running: bool
    dropped: int
    errors: int

    _PATTERN: ClassVar = re.compile(rb"H,([0-9A-F]{8}),0([01]),([0-9A-F]{4}),([0-9A-F]{4})")

    def encode(self) -> bytes:
        body = b"H,%08X,%02X,%04X,%04X" % (self.clock_us, self.running, self.dropped, self.errors)
        return _seal(self._PATTERN, body)

    @classmethod
    def decode(cls, body: bytes) -> Heartbeat | None:
        numbers = _numbers(cls._PATTERN, body)
        if numbers is None:
            return None
        clock_us, running, dropped, errors = numbers
        return cls(clock_us, bool(running), dropped, errors)


@dataclass(frozen=True, slots=True)
class InputEvent:
    """An input of the board changed, at `clock_us`, after debouncing. Input 1 is the mark button."""

    clock_us: int
    number: int
    pressed: bool

    _PATTERN: ClassVar = re.compile(rb"I,([0-9A-F]{8}),([0-9A-F]{2}),0([01])")

    def encode(self) -> bytes:
        return _seal(self._PATTERN, b"I,%08X,%02X,%02X" % (self.clock_us, self.number, self.pressed))

    @classmethod
    def decode(cls, body: bytes) -> InputEvent | None:
        numbers = _numbers(cls._PATTERN, body)
        if numbers is None:
            return None
        clock_us, number, pressed = numbers
        return cls(clock_us, number, bool(pressed))


@dataclass(frozen=True, slots=True)
class Reply:
    """The one answer to a command: its tag (0 if it had none), 0 or a negative SCPI error number, a text."""

    tag: int
    status: int
    text: str

    _PATTERN: ClassVar = re.compile(rb"R,([0-9A-F]{4}),(0|-[1-9][0-9]{0,2}),([ -)+-~]{0,%d})" % MAX_TEXT_BYTES)

    def encode(self) -> bytes:
        body = b"R,%04X,%d,%b" % (self.tag, self.status, self.text.encode("ascii"))
        return _seal(self._PATTERN, body)

    @classmethod
    def decode(cls, body: bytes) -> Reply | None:
        found = cls._PATTERN.fullmatch(body)
        if found is None:
            return None
        tag, status, text = found.groups()
        return cls(int(tag, 16), int(status), text.decode("ascii"))


@dataclass(frozen=True, slots=True)
class Boot:
    """The board has started. Its line follows an LF, so that what a reset cut off cannot swallow it."""

    cause: ResetCause
    boot_count: int
    calibration_valid: bool

    _PATTERN: ClassVar = re.compile(rb"B,0([0-5]),([0-9A-F]{4}),0([01])")

    def encode(self) -> bytes:
        body = b"B,%02X,%04X,%02X" % (self.cause, self.boot_count, self.calibration_valid)
        return b"\n" + _seal(self._PATTERN, body)

    @classmethod
    def decode(cls, body: bytes) -> Boot | None:
        numbers = _numbers(cls._PATTERN, body)
        if numbers is None:
            return None
        cause, boot_count, valid = numbers
        return cls(ResetCause(cause), boot_count, bool(valid))


@dataclass(frozen=True, slots=True, eq=False)
class BareBlock:
    """Consecutive lines of a bare board: counts only, both arrays of the same length."""

    supply_count: U16
    cylinder_count: U16

    def __len__(self) -> int:
        return len(self.supply_count)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, BareBlock):
            return NotImplemented
        return np.array_equal(self.supply_count, other.supply_count) and np.array_equal(
            self.cylinder_count, other.cylinder_count
        )

    __hash__ = None  # type: ignore[assignment]

    def encode(self) -> bytes:
        pairs = zip(self.supply_count.tolist(), self.cylinder_count.tolist(), strict=True)
        return b"".join(b"%d,%d\n" % pair for pair in pairs)


Frame = SampleBlock | Heartbeat | InputEvent | Reply | Boot | BadFrame | BareBlock
