"""Bytes in, frames out: the codec of the framed format as a plain object."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from daq.wire.crc import crc16
from daq.wire.frames import MAX_LINE_BYTES, BadFrame, BadReason, Boot, Frame, Heartbeat, InputEvent, Reply
from daq.wire.lines import LineCutter
from daq.wire.samples import SAMPLE_LINE_BYTES, SampleBlock

_TYPES: dict[bytes, type[Heartbeat | InputEvent | Reply | Boot]] = {
    b"H": Heartbeat,
    b"I": InputEvent,
    b"R": Reply,
    b"B": Boot,
}
_PRINTABLE = re.compile(rb"[ -~]*")
_CRC_FIELD = re.compile(rb"\*[0-9A-F]{4}")
_CRC_BYTES = 5


class Decoder:
    """Decoder of one line. Any split of the stream gives the same frames, but for how samples are blocked.

    Memory is bounded by one line. With `synchronised=False` everything up to the first LF is dropped silently.
    """

    def __init__(self, synchronised: bool = True) -> None:
        self._lines = LineCutter(synchronised)

    @property
    def pending(self) -> int:
        """Bytes kept of a line that has not ended."""
        return self._lines.pending

    def feed(self, data: bytes) -> list[Frame]:
        """The frames that `data` completes, in the order of the stream; consecutive samples in one block."""
        lines = self._lines.cut(data)
        frames: list[Frame] = []
        start = 0
        for other in [place for place, line in enumerate(lines) if len(line) != SAMPLE_LINE_BYTES]:
            frames.extend(_decode_samples(lines[start:other]))
            if lines[other]:
                frames.append(_decode_line(lines[other]))
            start = other + 1
        frames.extend(_decode_samples(lines[start:]))
        return frames


def _decode_samples(lines: list[bytes]) -> Iterator[Frame]:
    """Blocks of the samples among lines of their length, with the frame of each other line at its place."""
    if not lines:
        return
    block, right = SampleBlock.decode(lines)
    start = 0
    for wrong in np.flatnonzero(~right).tolist():
        if wrong > start:
            yield block.rows(start, wrong)
        yield _decode_line(lines[wrong])
        start = wrong + 1
    if start == 0:
        yield block
    elif start < len(lines):
        yield block.rows(start, len(lines))


def _decode_line(line: bytes) -> Frame:
    """The frame of a line that is not a good sample."""
    reason = _damage(line)
    if reason is not None:
        return BadFrame.of(reason, line)
    body = line[:-_CRC_BYTES]
    name = body.partition(b",")[0]
    frame_type = _TYPES.get(name)
    frame = frame_type.decode(body) if frame_type else None
    if frame is not None:
        return frame
    known = frame_type is not None or name == b"S"
    return BadFrame.of(BadReason.BAD_GRAMMAR if known else BadReason.UNKNOWN_TYPE, line)


def _damage(line: bytes) -> BadReason | None:
    """What keeps a line from being a frame of any type."""
    if len(line) > MAX_LINE_BYTES:
        return BadReason.OVERSIZE
    if _PRINTABLE.fullmatch(line) is None:
        return BadReason.NOT_ASCII
    if _CRC_FIELD.fullmatch(line[-_CRC_BYTES:]) is None:
        return BadReason.NO_CRC
    if crc16(line[:-_CRC_BYTES]) != int(line[1 - _CRC_BYTES :], 16):
        return BadReason.BAD_CRC
    return None
