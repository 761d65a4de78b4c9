"""When to look at the line of a framed board, and when to hand on what was read.

All stages behind work on ticks of the board's clock, and two ticks cost them hardly more than one. So the bytes are
handed on two ticks at a time, and the line is looked at just after the board has closed the second: there are fewer
calls, and what is told is younger than if the line were looked at whenever.
"""

from __future__ import annotations

from daq.measure.ticks import TICK_US

HANDED_ON_US = 2 * TICK_US
LATE_S = 0.003
"""The sample that closes a tick is on the line for a millisecond, and looks and clocks are not exact."""
MOST_HELD_S = 0.2
"""A board whose clock stands is heard all the same."""
POLL_S = 0.04
"""How often the line is looked at while its clock is not known."""
BUFFER_BYTES = 4096
"""What a system keeps of a line that is not read, at least. It must not overflow between two looks."""
_BITS_PER_BYTE = 10
_SAMPLE_LINE, _CLOCK_AT, _CLOCK_END = b"\nS,", 8, 16
_CLOCK_TURN = 1 << 32
_NEAR_TURN_US = 1 << 24  # a clock that was damaged on the line is no turn


class Rhythm:
    """Follows the clock in the sample lines. `due`: what was read so far is to be handed on now."""

    def __init__(self, baud: int) -> None:
        self._half_full_s = BUFFER_BYTES / 2 * _BITS_PER_BYTE / baud
        self._turns_us = self._clock_us = 0
        self._handed_on, self._held_s = -1, 0.0
        self.due = False

    def looked(self, data: bytes) -> float:
        """Seconds until the next look, after `data` was read."""
        newest_us, apart_us = self._newest(data)
        if newest_us is None:
            self.due, wait_s = True, POLL_S
        else:
            number, into_us = divmod(newest_us, HANDED_ON_US)
            self.due, self._handed_on = number != self._handed_on or self._held_s >= MOST_HELD_S, number
            samples = -(-(HANDED_ON_US - into_us) // apart_us)  # until one of the next tick, which closes this one
            wait_s = 1e-6 * samples * apart_us + LATE_S
        wait_s = min(wait_s, POLL_S) / 8 if len(data) >= BUFFER_BYTES // 2 else min(wait_s, self._half_full_s)
        self._held_s = wait_s if self.due else self._held_s + wait_s
        return wait_s

    def _newest(self, data: bytes) -> tuple[int | None, int]:
        """The newest clock among the sample lines, unwrapped, us, and how far the one before lies back, as far as is
        known."""
        at = data.rfind(_SAMPLE_LINE, 0, max(len(data) - _CLOCK_END + len(_SAMPLE_LINE), 0))
        clock_us = _clock_us(data, at)
        if clock_us is None:
            return None, 1
        if clock_us < _NEAR_TURN_US and self._clock_us >= _CLOCK_TURN - _NEAR_TURN_US:
            self._turns_us += _CLOCK_TURN
        self._clock_us = clock_us
        before_us = _clock_us(data, data.rfind(_SAMPLE_LINE, 0, at))
        apart_us = (clock_us - before_us) % _CLOCK_TURN if before_us is not None else 1
        return self._turns_us + clock_us, min(max(apart_us, 1), HANDED_ON_US)


def _clock_us(data: bytes, at: int) -> int | None:
    """What the sample line that begins at `at` says; None if it is damaged or there is none."""
    try:
        return int(data[at + _CLOCK_AT : at + _CLOCK_END], 16) if at >= 0 else None
    except ValueError:
        return None
