"""One segment: from samples to ticks, and through the measurement."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np

from daq.measure.ticks import TickGrid
from daq.pipeline.measurement import Measurement
from daq.records import BadLines, Record, Samples, Ticks
from daq.wire import BadFrame


class Segment:
    """One stretch of a board's clock. `t_s` is the time of its newest sample, and before that of its begin."""

    def __init__(self, number: int, t_s: float, measurement: Measurement) -> None:
        self.number, self.t_s = number, t_s
        self._measurement = measurement
        self._grid = TickGrid()
        self._grid.reset(number)
        self._waiting: list[Samples] = []
        self._bad: Counter[str] = Counter()
        self._bad_evidence = b""

    def take(self, samples: Samples) -> None:
        """They wait for `flush`: a replay comes in large chunks, which the heartbeats between would cut."""
        self.t_s = float(samples.t_us[-1]) * 1e-6
        self._waiting.append(samples)

    def reject(self, frame: BadFrame) -> None:
        """Counted; told with the next tick."""
        if not self._bad:
            self._bad_evidence = frame.evidence
        self._bad[frame.reason.value] += 1

    def tell_anew(self) -> None:
        """What is stable from now on is told although it was before."""
        self._measurement.tell_anew(self.number, self.t_s)

    def flush(self) -> Iterator[Record]:
        """What has been taken since the last call, in one piece, and what is measured of it."""
        if not self._waiting:
            return
        samples, self._waiting = _joined(self._waiting), []
        yield samples
        yield from self._measure(self._grid.feed(samples))

    def close(self) -> Iterator[Record]:
        """The end of the segment: also the open tick."""
        yield from self.flush()
        yield from self._measure(self._grid.finish())
        yield from self._bad_lines(self.t_s)

    def _measure(self, ticks: Ticks) -> Iterator[Record]:
        if ticks.t_s.size == 0:
            return
        yield from self._bad_lines(float(ticks.t_s[0]))
        rows, events = self._measurement.feed(ticks)
        yield from rows
        yield from events

    def _bad_lines(self, t_s: float) -> Iterator[Record]:
        if self._bad:
            yield BadLines(self.number, t_s, dict(sorted(self._bad.items())), self._bad_evidence)
            self._bad = Counter()


def _joined(parts: list[Samples]) -> Samples:
    """Samples of one segment, one after the other."""
    if len(parts) == 1:
        return parts[0]
    columns = ("t_us", "supply_count", "cylinder_count", "reference", "flags")
    return Samples(parts[0].segment, *(np.concatenate([getattr(part, name) for part in parts]) for name in columns))
