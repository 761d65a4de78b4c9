"""From the bytes of a line to samples on an unwrapped clock, and to what the board says beside them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from daq.measure.board_clock import BoardClock
from daq.records import Board, BoardFault, Chunk, Gap, LineFormat, Marked, MarkKind, Restarted, Samples
from daq.wire import (
    BadFrame,
    BareBlock,
    BareDecoder,
    Boot,
    Decoder,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
    SampleBlock,
)

MARK_BUTTON = 1
MOST_SET_BACK_S = 1.0
LineItem = Samples | BadFrame | Gap | Restarted | Marked | BoardFault


class Line:
    """The line of one board for as long as it is open; `segment` is the number of the first of its segments.

    A `Restarted` among what it gives begins the next one.
    """

    def __init__(self, board: Board, segment: int) -> None:
        self._rate_hz = board.rate_hz
        self._decoder = BareDecoder() if board.line_format is LineFormat.BARE else Decoder()
        self._begin(segment, 0.0)

    def feed(self, chunk: Chunk) -> Iterator[LineItem]:
        """In the order of the stream."""
        for frame in self._decoder.feed(chunk.data):
            yield from self._frame(frame, chunk.arrived_s)

    def _begin(self, segment: int, t_s: float) -> None:
        self._segment, self._t_s = segment, t_s
        self._first_arrival_s: float | None = None
        self._clock = BoardClock(self._rate_hz)

    def _restart(self, cause: str, boot_count: int | None, clock_s: float) -> Iterator[LineItem]:
        """A new segment, whose clock stands at `clock_s` now."""
        self._begin(self._segment + 1, clock_s)
        yield Restarted(self._segment, clock_s, cause, boot_count)

    def _frame(self, frame: Frame, arrived_s: float) -> Iterator[LineItem]:
        match frame:
            case SampleBlock():
                yield from self._block(frame)
            case BareBlock():
                yield from self._bare_block(frame, arrived_s)
            case BadFrame():
                yield frame
            case _:
                yield from self._news(frame)

    def _news(self, frame: Heartbeat | InputEvent | Boot | Reply) -> Iterator[LineItem]:
        """What a board says of itself, beside its samples."""
        match frame:
            case Heartbeat():
                if self._clock.heartbeat(frame.clock_us) is None:
                    yield from self._restart("clock-went-back", None, frame.clock_us * 1e-6)
            case InputEvent(clock_us=clock_us, number=number, pressed=True) if number == MARK_BUTTON:
                yield Marked(self._segment, self._pressed_s(clock_us), MarkKind.NEXT.value, "", "board")
            case Boot():
                yield from self._restart(frame.cause.name.lower().replace("_", "-"), frame.boot_count, 0.0)
            case Reply(status=status) if status != 0:
                yield BoardFault(self._segment, self._t_s, "command-refused", f"{status} {frame.text}")

    def _pressed_s(self, clock_us: int) -> float:
        """When the finger was there: the board stamps the first edge, and tells of it once it has settled.

        Where its clock is not known, the time of the newest sample, or of the start of the segment.
        """
        t_us = self._clock.happened(clock_us)
        return self._t_s if t_us is None else t_us * 1e-6

    def _block(self, block: SampleBlock) -> Iterator[LineItem]:
        """Unwraps the clock, and cuts the block where samples are missing or the clock went back."""
        clock = self._clock.feed(block.sequence, block.clock_us)
        if clock.whole:
            yield from self._samples(clock.t_us, block, slice(None))
            return
        cuts = [int(row) for row in np.flatnonzero(clock.missing[1:]) + 1]
        rows = len(clock.t_us)
        for start, stop in zip([0, *cuts], [*cuts, rows], strict=True):
            if start < rows and clock.missing[start]:
                yield Gap(self._segment, int(clock.t_us[start]) * 1e-6, int(clock.missing[start]))
            keep = np.flatnonzero(clock.keep[start:stop]) + start
            yield from self._samples(clock.t_us[keep], block, keep)
        if clock.restart_at is not None:
            yield from self._restart("clock-went-back", None, float(block.clock_us[clock.restart_at]) * 1e-6)
            yield from self._block(_rows_from(block, clock.restart_at))

    def _samples(
        self, t_us: npt.NDArray[np.int64], block: SampleBlock, rows: npt.NDArray[np.intp] | slice
    ) -> Iterator[LineItem]:
        if t_us.size == 0:
            return
        self._t_s = float(t_us[-1]) * 1e-6
        yield Samples(
            self._segment,
            t_us,
            block.supply_count[rows].astype(np.int64),
            block.cylinder_count[rows].astype(np.int64),
            block.reference[rows].astype(np.int64),
            block.flags[rows].astype(np.int64),
        )

    def _bare_block(self, block: BareBlock, arrived_s: float) -> Iterator[LineItem]:
        """A bare board has no clock: its samples carry the time of arrival, counted from the first of them.

        The host's clock may be set back: by a little, time stands still for so long; by more, a segment begins.
        """
        if self._first_arrival_s is not None and arrived_s - self._first_arrival_s < self._t_s - MOST_SET_BACK_S:
            yield from self._restart("host-clock-went-back", None, 0.0)
        if self._first_arrival_s is None:
            self._first_arrival_s = arrived_s
        n = len(block.supply_count)
        t_us = max(round((arrived_s - self._first_arrival_s) * 1e6), round(self._t_s * 1e6))
        self._t_s = float(t_us) * 1e-6
        zeros = np.zeros(n, dtype=np.int64)
        supply, cylinder = block.supply_count.astype(np.int64), block.cylinder_count.astype(np.int64)
        yield Samples(self._segment, np.full(n, t_us, np.int64), supply, cylinder, zeros, zeros)


def _rows_from(block: SampleBlock, start: int) -> SampleBlock:
    return SampleBlock(
        block.sequence[start:],
        block.clock_us[start:],
        block.supply_count[start:],
        block.cylinder_count[start:],
        block.reference[start:],
        block.flags[start:],
    )
