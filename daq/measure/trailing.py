"""What several stages need to look back: the rows before this call, windows over them, and a switch with dwell."""

from __future__ import annotations

import numpy as np

from daq.records import Bools, Floats, Ints


class Trailing:
    """Keeps the last `rows` - 1 columns, so that each new row can be seen with those before it."""

    def __init__(self, channels: int, rows: int) -> None:
        self._kept = np.full((channels, rows - 1), np.nan)

    def feed(self, *channels: Floats) -> Floats:
        """The kept rows, then the new ones: shape (channels, rows - 1 + n); NaN before the first row of a segment."""
        joined = np.concatenate((self._kept, channels), axis=1)
        self._kept = joined[:, len(channels[0]) :]
        return joined


def windows(joined: Floats, ends: Ints, rows: int) -> Floats:
    """The last `rows` columns up to and with each of `ends`: shape (..., len(ends), rows), contiguous.

    Contiguous, because numpy's order of summation, and so the last bit of a sum, depends on the layout.
    """
    return joined.take(ends[:, None] + np.arange(1 - rows, 1), axis=-1)


class Switch:
    """Two states, off at first. It goes on when `up` has been true without a break for `rise_s`, and off when `down`
    has been for `fall_s`; between the two conditions lies the hysteresis."""

    def __init__(self, rise_s: float, fall_s: float) -> None:
        self._dwell_s = (rise_s, fall_s)
        self._on = False
        self._since_s: float | None = None

    @property
    def resting(self) -> bool:
        """Off, and not about to go on: rows that are not up would change nothing."""
        return not self._on and self._since_s is None

    def feed(self, t_s: Floats, up: Bools, down: Bools) -> tuple[Bools, Ints]:
        """The state after each row, and the rows at which it changed."""
        if self._since_s is None and not np.count_nonzero(down if self._on else up):
            return np.full(len(t_s), self._on), np.zeros(0, np.int64)
        before = self._on
        states = np.array(
            [self._step(*row) for row in zip(t_s.tolist(), up.tolist(), down.tolist(), strict=True)], bool
        )
        return states, np.flatnonzero(np.diff(states, prepend=before))

    def _step(self, t_s: float, up: bool, down: bool) -> bool:
        if not (down if self._on else up):
            self._since_s = None
            return self._on
        if self._since_s is None:
            self._since_s = t_s
        if t_s - self._since_s >= self._dwell_s[self._on]:
            self._on, self._since_s = not self._on, None
        return self._on
