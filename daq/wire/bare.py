"""The bare format: two decimal whole numbers a line, supply count then cylinder count, and nothing else.

For a builder's first sketch. It has no CRC, no sequence and no clock: a damaged digit is a wrong value, and a lost
line is not seen.
"""

from __future__ import annotations

import re

import numpy as np

from daq.wire.frames import MAX_LINE_BYTES, BadFrame, BadReason, BareBlock, Frame
from daq.wire.lines import LineCutter

_LINE = re.compile(rb"[ \t]*([0-9]+)(?:[ \t]*[,;][ \t]*|[ \t]+)([0-9]+)[ \t]*")
_LARGEST = 0xFFFF


class BareDecoder:
    """Decoder of a bare line; the same promises as `daq.wire.Decoder`."""

    def __init__(self, synchronised: bool = True) -> None:
        self._lines = LineCutter(synchronised)

    @property
    def pending(self) -> int:
        """Bytes kept of a line that has not ended."""
        return self._lines.pending

    def feed(self, data: bytes) -> list[Frame]:
        """The blocks and rejected lines that `data` completes, in the order of the stream."""
        frames: list[Frame] = []
        pairs: list[tuple[int, int]] = []
        for line in self._lines.cut(data):
            if not line.strip(b" \t"):
                continue
            pair = _pair(line)
            if isinstance(pair, tuple):
                pairs.append(pair)
                continue
            frames.extend(_block(pairs))
            pairs = []
            frames.append(BadFrame.of(pair, line))
        frames.extend(_block(pairs))
        return frames


def _pair(line: bytes) -> tuple[int, int] | BadReason:
    if len(line) > MAX_LINE_BYTES:
        return BadReason.OVERSIZE
    found = _LINE.fullmatch(line)
    if found is None:
        return BadReason.BAD_GRAMMAR
    supply_count, cylinder_count = int(found[1]), int(found[2])
    if max(supply_count, cylinder_count) > _LARGEST:
        return BadReason.OUT_OF_RANGE
    return supply_count, cylinder_count


def _block(pairs: list[tuple[int, int]]) -> list[BareBlock]:
    if not pairs:
        return []
    columns = np.array(pairs, np.uint16)
    return [BareBlock(columns[:, 0].copy(), columns[:, 1].copy())]
