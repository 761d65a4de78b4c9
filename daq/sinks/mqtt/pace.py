"""How fast to publish, and how long to wait before the next try. Pure: the clock is an argument."""

from __future__ import annotations

from dataclasses import dataclass, field

from daq.sinks.base import BackOff

STABLE_AFTER_S = 30.0


class Pace:
    """A budget of `per_second`, on average: each take moves the next turn on, and one may come `slack_s` early.

    Ref: the virtual scheduling form of the generic cell rate algorithm, ITU-T I.371 annex A.
    """

    def __init__(self, per_second: float, slack_s: float, from_s: float = 0.0) -> None:
        self._interval_s, self._slack_s = 1.0 / per_second, slack_s
        self._turn_s = from_s

    def wait_s(self, now_s: float) -> float:
        """Seconds until the budget allows one more; 0 if it does now."""
        return max(0.0, self._turn_s - self._slack_s - now_s)

    def take(self, now_s: float) -> None:
        self._turn_s = max(self._turn_s, now_s) + self._interval_s


@dataclass(slots=True)
class Reconnect:
    """Waits longer after each lost connection, and forgets that only when one has held for `stable_after_s`.

    So two daemons that take one client id from each other slow down instead of storming the broker.
    """

    back_off: BackOff = field(default_factory=lambda: BackOff(first_s=1.0, most_s=30.0))
    stable_after_s: float = STABLE_AFTER_S
    failures: int = 0

    def delay_s(self, held_s: float) -> float:
        """How long to wait after a connection that held for `held_s` (0 if it never came to be)."""
        if held_s >= self.stable_after_s:
            self.failures = 0
        delay_s = self.back_off.delay_s(self.failures)
        self.failures += 1
        return delay_s
