"""One step of the flow: an input in, a delivery for the sinks out. Live and replay both go through here."""

from __future__ import annotations

from daq.pipeline import Pipeline
from daq.records import Chunk, Delivery, Input, LinkDown, LinkUp, Mark, Readings, Record, Resume, Samples

WINDOW_S = 60.0


class HostTime:
    """Tells what to add to the board's clock to get the time of day, for one segment.

    The delay of the line is never negative, so the smallest difference `arrival - board` of the last minute or two
    is the best guess; a window, because a board's crystal may be off by half a percent. Before the first sample it
    is the time at which the board was opened.
    """

    def __init__(self) -> None:
        self._segment = -1
        self._window_from_s = 0.0
        self._last_window_s = self._this_window_s = float("inf")

    def observe(self, segment: int, t_s: float, arrived_s: float) -> None:
        """A sample of board time `t_s` was the newest one in a chunk that arrived at `arrived_s`."""
        if segment != self._segment:
            self._segment, self._window_from_s = segment, t_s
            self._last_window_s = self._this_window_s = float("inf")
        if t_s - self._window_from_s > WINDOW_S:
            self._window_from_s = t_s
            self._last_window_s, self._this_window_s = self._this_window_s, float("inf")
        self._this_window_s = min(self._this_window_s, arrived_s - t_s)

    def offset_s(self, segment: int, fallback_s: float) -> float:
        """Seconds to add to a board time of `segment`."""
        known = segment == self._segment
        return min(self._this_window_s, self._last_window_s) if known else fallback_s


class Driver:
    """Owns a pipeline and names the day for what comes out of it."""

    def __init__(self, pipeline: Pipeline) -> None:
        self.pipeline = pipeline
        self._host_time = HostTime()
        self._offsets: dict[int, float] = {}
        self._linked = False

    def step(self, item: Input) -> Delivery:
        at_s = item.arrived_s if isinstance(item, Chunk) else item.at_s
        self._linked = isinstance(item, LinkUp) or (self._linked and not isinstance(item, LinkDown))
        records = self.pipeline.feed(item)
        if isinstance(item, Mark | Resume) and not self._linked:
            # No board, so no clock but the host's: the mark's own time names the day.
            return Delivery(tuple(records), {record.segment: at_s - _t_s(record) for record in records})
        return self._deliver(records, at_s, isinstance(item, Chunk))

    def finish(self) -> Delivery:
        """The source has ended: what was still open."""
        return self._deliver(self.pipeline.finish(), 0.0, False)

    def _deliver(self, records: list[Record], at_s: float, arrival: bool) -> Delivery:
        for record in records:
            segment = record.segment
            if arrival and isinstance(record, Samples):
                self._host_time.observe(segment, float(record.t_us[-1]) * 1e-6, at_s)
            self._offsets[segment] = self._host_time.offset_s(segment, self._offsets.get(segment, at_s))
        delivery = Delivery(tuple(records), dict(self._offsets))
        for segment in sorted(self._offsets)[:-2]:
            del self._offsets[segment]
        return delivery


def _t_s(record: Record) -> float:
    """The time of an event; a mark gives no arrays."""
    assert not isinstance(record, Samples | Readings)
    return record.t_s
