"""Samples gathered on a fixed grid of the board's clock."""

from __future__ import annotations

import numpy as np

from daq.records import Ints, Samples, Ticks

TICK_US = 50_000

# Rows of the accumulator; one column a tick. The sums stand together so that one call adds them all.
_TICK, _LOW, _FLAGS, _N, _TIME, _SUPPLY, _CYLINDER, _REFERENCE = range(8)
_SUMS = slice(_N, _REFERENCE + 1)


class TickGrid:
    """Closes a tick when a sample of a later one arrives; a tick without samples gives no row.

    All sums are of integers, so that the split of the stream cannot change a bit of the means.
    """

    def __init__(self, tick_us: int = TICK_US) -> None:
        self._tick_us = tick_us
        self.reset(0)

    def reset(self, segment: int) -> None:
        """Begin a segment; an open tick is dropped (call `finish` first to have it)."""
        self._segment = segment
        self._open = np.zeros((_REFERENCE + 1, 0), np.int64)

    def feed(self, samples: Samples) -> Ticks:
        """Ticks that these samples closed. Within a segment times must not go back."""
        if not len(samples.t_us):
            return self._ticks(self._open[:, :0])
        if samples.segment != self._segment:
            self.reset(samples.segment)
        ticks = _gather(np.concatenate((self._open, self._columns(samples)), axis=1))
        self._open = ticks[:, -1:]
        return self._ticks(ticks[:, :-1])

    def finish(self) -> Ticks:
        """The open tick, if any; the end of a segment."""
        ticks, self._open = self._open, self._open[:, :0]
        return self._ticks(ticks)

    def _columns(self, samples: Samples) -> Ints:
        """Each sample as a tick of its own, shape (8, n)."""
        columns = np.empty((_REFERENCE + 1, len(samples.t_us)), np.int64)
        columns[_TICK] = samples.t_us // self._tick_us
        columns[_N] = 1
        columns[_LOW] = columns[_CYLINDER] = samples.cylinder_count
        columns[_FLAGS], columns[_TIME] = samples.flags, samples.t_us
        columns[_SUPPLY], columns[_REFERENCE] = samples.supply_count, samples.reference
        return columns

    def _ticks(self, ticks: Ints) -> Ticks:
        n = ticks[_N]
        return Ticks(
            segment=self._segment,
            t_s=ticks[_TIME] / (n * 1_000_000),
            n=n,
            supply_count=ticks[_SUPPLY] / n,
            cylinder_count=ticks[_CYLINDER] / n,
            cylinder_low_count=ticks[_LOW].astype(np.float64),
            reference=ticks[_REFERENCE] / n,
            flags=ticks[_FLAGS],
        )


def _gather(columns: Ints) -> Ints:
    """Neighbouring columns of the same tick made one."""
    first = np.empty(columns.shape[1], np.bool_)
    first[0] = True
    np.not_equal(columns[_TICK, 1:], columns[_TICK, :-1], out=first[1:])
    (starts,) = first.nonzero()
    ticks = columns[:, starts]
    ticks[_SUMS] = np.add.reduceat(columns[_SUMS], starts, axis=1)
    ticks[_LOW] = np.minimum.reduceat(columns[_LOW], starts)
    ticks[_FLAGS] = np.bitwise_or.reduceat(columns[_FLAGS], starts)
    return ticks
