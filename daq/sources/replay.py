"""A raw log as a source: the same inputs in the same order, as fast as they are asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from daq.records import Chunk, Input, LineFormat, LinkDown, LinkUp


def replay(inputs: Iterable[Input], coalesce_bytes: int = 0) -> Iterator[Input]:
    """The inputs of a log (a `RawLogReader`), with the chunks of a framed board joined to blocks of about
    `coalesce_bytes`; 0 leaves them as they came.

    Any split of the same bytes means the same to a framed board, whose lines carry their own clock, and large blocks
    are read much faster. A joined chunk has the arrival of its last part: only the time of day depends on it, and
    less finely. A bare board has no clock but the arrival, so its chunks are never joined.
    """
    waiting = _Waiting()
    framed = False
    for item in inputs:
        if isinstance(item, Chunk) and framed and coalesce_bytes:
            waiting.add(item)
            if waiting.size >= coalesce_bytes:
                yield from waiting.joined()
            continue
        yield from waiting.joined()
        if isinstance(item, LinkUp):
            framed = item.board.line_format is LineFormat.FRAMED
        elif isinstance(item, LinkDown):
            framed = False
        yield item
    yield from waiting.joined()


class _Waiting:
    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._arrived_s = 0.0
        self.size = 0

    def add(self, chunk: Chunk) -> None:
        self._parts.append(chunk.data)
        self._arrived_s, self.size = chunk.arrived_s, self.size + len(chunk.data)

    def joined(self) -> Iterator[Chunk]:
        if self._parts:
            yield Chunk(self._arrived_s, b"".join(self._parts))
            self._parts, self.size = [], 0
