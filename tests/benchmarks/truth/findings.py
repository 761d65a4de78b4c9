"""What can be found on a bench, each beside what is true."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

SETTLED_PCT = 0.1
MATTERS_PCT = 0.25
"""What the instrument calls no change by taps."""
NO_AIR = "no air"


@dataclass(frozen=True)
class VerdictFinding:
    """A word on a cylinder by the common limits, the stated chance that it is right, and whether it is."""

    word: str
    probability: float
    right: bool


@dataclass(frozen=True)
class ReadingFinding:
    """A stable reading: its error against the end value in the middle of its window, its 95 % half-width and u; and how
    far the true loss was from its end value when the reading was issued, and on average over its window. `place` is
    the hold it fell in."""

    place: str
    time_s: float
    end_pct: float
    error_pct: float
    half_width_pct: float
    u_pct: float
    off_now_pct: float
    off_window_pct: float
    verdict: VerdictFinding

    @property
    def covered(self) -> bool:
        return abs(self.error_pct) <= self.half_width_pct

    @property
    def sensors_covered(self) -> bool:
        """The same, had it only been asked for the true loss of its window, settled or not."""
        return abs(self.error_pct - self.off_window_pct) <= self.half_width_pct

    @property
    def false(self) -> bool:
        """Issued while the true loss was not within 0.1 point of its end value, or without air."""
        return self.place == NO_AIR or abs(self.off_now_pct) > SETTLED_PCT


@dataclass(frozen=True)
class SettlingFinding:
    """When the oracle and the first stable reading came, from the begin of the hold; infinite for never."""

    kind: str
    hold_s: float
    oracle_s: float
    reading_s: float


@dataclass(frozen=True)
class TapFinding:
    """A blow, the true fall of pressure by it, and whether it was told."""

    time_s: float
    depth_psi: float
    found: bool


@dataclass(frozen=True)
class InventedFinding:
    """A tap that was told and never happened."""

    time_s: float
    depth_psi: float


@dataclass(frozen=True)
class ChangeFinding:
    """What was told of taps beside what they did in truth, between the same two readings.

    An effect that nobody was told of stands here with NaN and no verdict.
    """

    time_s: float
    true_pct: float
    told_pct: float
    verdict: str
    probability: float

    @property
    def direction_right(self) -> bool:
        """Its sign was told, and it was not called no change."""
        return self.told_pct * self.true_pct > 0 and self.verdict != "no-change"

    @property
    def verdict_right(self) -> bool:
        true = self.true_pct
        holds = {"improved": true < -MATTERS_PCT, "worse": true > MATTERS_PCT, "no-change": abs(true) <= MATTERS_PCT}
        return holds[self.verdict]


@dataclass(frozen=True)
class ExpectationFinding:
    """An expectation told before the loss had settled, against the end value; `since_s` from the begin of its hold."""

    since_s: float
    error_pct: float
    half_width_pct: float
    inside: bool


@dataclass(frozen=True)
class BenchFinding:
    """All that was found on one bench; `readings` by the name of the calibration they were made with."""

    number: int
    seconds: float
    readings: Mapping[str, tuple[ReadingFinding, ...]] = field(default_factory=dict)
    settlings: tuple[SettlingFinding, ...] = ()
    taps: tuple[TapFinding, ...] = ()
    invented: tuple[InventedFinding, ...] = ()
    changes: tuple[ChangeFinding, ...] = ()
    expectations: tuple[ExpectationFinding, ...] = ()
    faults: tuple[str, ...] = ()
    refused: str = ""
    """Why the pairing was refused, if it was."""
