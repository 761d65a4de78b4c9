"""The board's sequence and clock, unwrapped.

The sequence counts samples in 16 bits, the clock microseconds in 32 bits: it wraps each 71.6 minutes. Both are read
together: a step of the clock says how much time passed, the step of the sequence how many samples were made in it,
and when the rate is known the two also tell a loss that is longer than one turn of the sequence (327 s at 200 Hz).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.records import Bools, Ints

_SEQUENCE_TURN = 1 << 16
_CLOCK_TURN = 1 << 32
_HALF_TURN = 1 << 31
_HEARTBEAT_SLACK_US = 1_000_000
_RATE_TOLERANCE = 0.02


@dataclass(frozen=True, slots=True)
class UnwrappedBlock:
    """The rows of one block up to `restart_at` (all of them when it is None); the arrays have that length.

    `t_us` is the unwrapped clock, `missing` the samples lost before each row, `keep` is False for a row that repeats
    the one before. Rows from `restart_at` on belong to a new life of the board: feed them again, they start it.
    `whole`: none of that has happened, as nearly always.
    """

    t_us: Ints
    missing: Ints
    keep: Bools
    restart_at: int | None = None
    whole: bool = False


class BoardClock:
    """Unwraps one segment after another; `t_us` of a segment's first frame is the board's own clock value.

    A clock that goes back is a restart. Time between two frames must stay below 2**31 us (35.8 min), which
    heartbeats see to while no samples come.
    """

    def __init__(self, rate_hz: float | None = None) -> None:
        self._rate_hz = rate_hz
        self._longest_us = _SEQUENCE_TURN / 2 * 1e6 / rate_hz if rate_hz else math.inf
        self.reset()

    def reset(self) -> None:
        """Forget everything: the next frame begins a segment."""
        self._t_us: int | None = None
        self._clock = 0
        self._sample: tuple[int, int, int] | None = None

    def feed(self, sequence: npt.NDArray[Any], clock_us: npt.NDArray[Any]) -> UnwrappedBlock:
        """Unwrap rows of one block, shape (n,); both arrays may be of any unsigned or wider integer type."""
        if not len(clock_us):
            return UnwrappedBlock(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.bool_))
        first_us = self._first(int(clock_us[0]))
        last_sequence, last_clock, last_us = self._sample or (int(sequence[0]) - 1, int(clock_us[0]), first_us)
        stamps = np.empty((2, len(clock_us) + 1), np.int64)
        stamps[:, 0] = last_sequence, last_clock
        stamps[:, 1:] = sequence, clock_us
        turns, step_us = stamps[:, 1:] - stamps[:, :-1]
        turns &= _SEQUENCE_TURN - 1
        step_us = _signed(step_us)
        step_us[0] = first_us - last_us
        t_us = last_us + step_us.cumsum()
        went_back = self._t_us is not None and first_us < self._t_us - _HEARTBEAT_SLACK_US
        follows = (turns == 1) & (step_us >= 0) & (step_us < self._longest_us)
        if went_back or np.count_nonzero(follows) < len(t_us):
            return self._cut(stamps, turns, step_us, t_us, went_back)
        # Nothing is missing, repeated or of another life, as nearly always; that is sooner told than what is.
        self._remember(stamps, t_us, len(t_us))
        return UnwrappedBlock(t_us, np.zeros(len(t_us), np.int64), follows, whole=True)

    def _cut(self, stamps: Ints, turns: Ints, step_us: Ints, t_us: Ints, went_back: bool) -> UnwrappedBlock:
        """The same for rows of which some do not follow the one before."""
        back = step_us < 0
        back[0] |= went_back
        restart_at = int(back.argmax()) if back.any() else None
        repeated = (turns == 0) & (step_us == 0)
        missing = np.where(repeated, 0, self._missing(turns, step_us))
        self._remember(stamps, t_us, len(t_us) if restart_at is None else restart_at)
        if restart_at is not None:
            self.reset()
        return UnwrappedBlock(t_us[:restart_at], missing[:restart_at], ~repeated[:restart_at], restart_at)

    def heartbeat(self, clock_us: int) -> int | None:
        """Unwrapped time of a heartbeat, us; None (and a fresh start from it) when the clock went back."""
        t_us = self.at(clock_us)
        went_back = self._t_us is not None and t_us < self._t_us - _HEARTBEAT_SLACK_US
        if went_back:
            self.reset()
        self._t_us, self._clock = (clock_us if went_back else t_us), clock_us
        return None if went_back else t_us

    def happened(self, clock_us: int) -> int | None:
        """Unwrapped time of what the board has stamped a moment before it could tell, us; changes nothing.

        None where no sample has told the clock yet, or where it is too old to be of this life of the board.
        """
        if self._sample is None or self._t_us is None:
            return None
        t_us = self.at(clock_us)
        return t_us if t_us >= self._t_us - _HEARTBEAT_SLACK_US else None

    def at(self, clock_us: int) -> int:
        """Unwrapped time of any other stamp of the board near the newest frame, us; changes nothing."""
        return self._first(clock_us)

    def _first(self, clock: int) -> int:
        if self._t_us is None:
            return clock
        return self._t_us + (clock - self._clock + _HALF_TURN) % _CLOCK_TURN - _HALF_TURN

    def _missing(self, turns: Ints, step_us: Ints) -> Ints:
        missing = (turns - 1) % _SEQUENCE_TURN
        if self._rate_hz is None:
            return missing
        expected = step_us * (self._rate_hz * 1e-6)
        more = np.rint((expected - 1 - missing) / _SEQUENCE_TURN).astype(np.int64) * _SEQUENCE_TURN
        agrees = np.abs(expected - 1 - missing - more) <= _RATE_TOLERANCE * expected
        return np.where((more > 0) & agrees, missing + more, missing)

    def _remember(self, stamps: Ints, t_us: Ints, rows: int) -> None:
        if not rows:
            return
        self._sample = (int(stamps[0, rows]), int(stamps[1, rows]), int(t_us[rows - 1]))
        self._t_us, self._clock = self._sample[2], self._sample[1]


def _signed(step: Ints) -> Ints:
    """Steps of a 32-bit clock, read as the shorter way round."""
    return ((step + _HALF_TURN) & (_CLOCK_TURN - 1)) - _HALF_TURN
