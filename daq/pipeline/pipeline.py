"""Inputs in, records out: the line, the segment it is in, and the test of the engine."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from daq.measure.zero import ZeroMonitor
from daq.pipeline.line import Line, LineItem
from daq.pipeline.measurement import Measurement
from daq.pipeline.segment import Segment
from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.procedure.states import AWAITS_READING
from daq.procedure.verdict import COMMON_PRACTICE
from daq.records import (
    BadLines,
    Calibration,
    Chunk,
    Gap,
    Input,
    Instrument,
    LineFormat,
    LinkChange,
    LinkDown,
    LinkUp,
    Mark,
    Marked,
    MarkKind,
    Readings,
    Record,
    Restarted,
    Resume,
    Samples,
)
from daq.wire import BadFrame

BARE_WARNING = (
    "The board prints bare numbers: no checksum, no sequence number, no clock. A damaged or lost line cannot be "
    "seen, and times are those of arrival."
)
RESTARTS = (MarkKind.AGAIN, MarkKind.GO_ON, MarkKind.ACKNOWLEDGE)
"""Marks that may find a reading stable of which all has been told."""


class Pipeline:
    """Feed it inputs in their order; each call gives the records that follow from them.

    `lines` counts, over the whole life: good samples, missing ones, and rejected lines by reason.
    """

    def __init__(
        self,
        instrument: Instrument,
        calibration: Calibration,
        plan: TestPlan | EngineOrder,
        *,
        adjust_zero: bool = True,
    ) -> None:
        """`plan` is that of a test which begins by itself with the first air; the order of an engine alone will do.

        Without `adjust_zero` the zero is not touched, as while the channels themselves are calibrated."""
        self._instrument, self._calibration = instrument, calibration
        self._zero = ZeroMonitor(calibration, adjust_zero)
        self._procedure = Procedure(plan, COMMON_PRACTICE.carried(instrument, calibration))
        self._link: LinkUp | None = None
        self._line: Line | None = None
        self._segment: Segment | None = None
        self.lines: Counter[str] = Counter()

    def feed(self, item: Input) -> list[Record]:
        match item:
            case Chunk():
                return list(self._chunk(item))
            case Mark():
                return self._mark(item)
            case LinkUp():
                return list(self._link_up(item))
            case LinkDown():
                return list(self._link_down(item.reason))
            case Resume():
                self._procedure.resume(item.events)
                return [*self._procedure.verdicts(*self._here), self._procedure.session(*self._here)]

    def finish(self) -> list[Record]:
        """The source has ended for good: close what is open."""
        return list(self._close_segment())

    @property
    def _here(self) -> tuple[int, float]:
        """Segment and time in it: of the one that is open, else of the last that was."""
        return (0, 0.0) if self._segment is None else (self._segment.number, self._segment.t_s)

    # ---- the link

    def _link_up(self, link: LinkUp) -> Iterator[Record]:
        yield from self._close_segment()
        number = self._here[0] + 1
        self._link, self._line = link, Line(link.board, number)
        self._segment = self._new_segment(link, number, 0.0)
        reason = BARE_WARNING if link.board.line_format is LineFormat.BARE else ""
        yield from self._procedure.feed(LinkChange(*self._here, True, reason, link.board))
        yield self._procedure.session(*self._here)

    def _link_down(self, reason: str) -> Iterator[Record]:
        if self._link is None:
            return
        yield from self._close_segment()
        yield from self._procedure.feed(LinkChange(*self._here, False, reason, self._link.board))
        self._link = self._line = None

    def _new_segment(self, link: LinkUp, number: int, t_s: float) -> Segment:
        measurement = Measurement(self._instrument, self._calibration, link.board, link.at_s, self._zero)
        return Segment(number, t_s, measurement)

    def _close_segment(self) -> Iterator[Record]:
        """Nothing is left of one that its link ended already."""
        if self._link is not None and self._segment is not None:
            yield from self._told(self._segment.close())

    # ---- what comes in

    def _chunk(self, chunk: Chunk) -> Iterator[Record]:
        if self._line is None or self._segment is None:
            self.lines["bytes-before-handshake"] += len(chunk.data)
            return
        for item in self._line.feed(chunk):
            if isinstance(item, Samples):
                self.lines["samples"] += len(item.t_us)
                self._segment.take(item)
            else:
                yield from self._told(self._segment.flush())
                yield from self._beside_samples(item)
        yield from self._told(self._segment.flush())

    def _beside_samples(self, item: LineItem) -> Iterator[Record]:
        assert self._segment is not None and self._link is not None and not isinstance(item, Samples)
        match item:
            case BadFrame():
                self.lines[item.reason.value] += 1
                self._segment.reject(item)
            case Restarted():
                yield from self._close_segment()
                self._segment = self._new_segment(self._link, item.segment, item.t_s)
                yield item
            case _:
                if isinstance(item, Gap):
                    self.lines["missing"] += item.missing
                yield from self._procedure.feed(item)

    def _mark(self, mark: Mark) -> list[Record]:
        """A mark after which the test waits for a reading is answered by one that begins after it."""
        records: list[Record] = [*self._procedure.feed(Marked(*self._here, mark.kind, mark.text, "operator"))]
        if mark.kind in RESTARTS and self._procedure.phase in AWAITS_READING and self._link is not None:
            assert self._segment is not None
            self._segment.tell_anew()
        return records

    def _told(self, records: Iterable[Record]) -> Iterator[Record]:
        """What the test makes of them; arrays and rejected lines go past it."""
        for record in records:
            if isinstance(record, Samples | Readings | BadLines):
                yield record
            else:
                yield from self._procedure.feed(record)


def run(pipeline: Pipeline, inputs: Iterable[Input]) -> Iterator[Record]:
    """The whole of a finite source, start to end."""
    for item in inputs:
        yield from pipeline.feed(item)
    yield from pipeline.finish()
