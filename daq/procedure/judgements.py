"""The judgement of a whole engine, as a report prints it. All frozen; losses in percent at the set point."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from daq.procedure.leak_path import LeakPath
from daq.procedure.one_supply import Carried
from daq.procedure.spread import LEAST
from daq.procedure.verdict import SURE, Judgement, Limits, Verdict
from daq.records import Finding, TapEffect


class StandsOut(StrEnum):
    HIGH = "high"
    LOW = "low"
    NO = "no"


class EngineVerdict(StrEnum):
    SOUND = "sound"
    WATCH = "watch"
    INVESTIGATE = "investigate"
    TOO_CLOSE = "too close to call"
    INCOMPLETE = "incomplete"


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known beside the readings. `cold`: None where nobody said; `rocking_changed` by cylinder.

    `risk` of naming a cylinder of an engine in which none stands out: 0.05 or 0.01.
    """

    cold: bool | None = None
    findings: tuple[Finding, ...] = ()
    rocking_changed: Mapping[int, bool] = field(default_factory=dict)
    risk: float = 0.05


@dataclass(frozen=True, slots=True)
class CylinderJudgement:
    """`loss_pct`, at the set point, and `u_loss_pct` are those of the reading that counts; so is `judgement`.

    `from_median_pct` and its standard uncertainty, in which shared errors cancel: NaN below three cylinders.
    `leak_path` is there for cylinders that are not sound, and where something was heard.
    """

    cylinder: int
    as_found: Judgement
    after_taps: Judgement | None
    taps: TapEffect | None
    loss_pct: float
    u_loss_pct: float
    from_median_pct: float
    u_from_median_pct: float
    stands_out: StandsOut
    high: bool
    carried: Carried | None
    leak_path: LeakPath | None

    @property
    def judgement(self) -> Judgement:
        return self.after_taps or self.as_found


@dataclass(frozen=True, slots=True)
class Comparison:
    """`spread_pct` is a robust standard deviation, NaN for one cylinder; `risk` holds for the whole engine.

    `u_difference_pct` belongs to the difference of two cylinders, where there are just two; else NaN.
    """

    n: int
    median_pct: float
    spread_pct: float
    u_difference_pct: float
    risk: float
    high_pairs: tuple[tuple[int, int], ...]
    all_high_probability: float
    one_calibration: bool

    @property
    def all_high(self) -> bool:
        """That every cylinder is above what is sound; fewer than three share nothing that one could see."""
        return self.n >= LEAST and self.all_high_probability >= SURE


@dataclass(frozen=True, slots=True)
class EngineFacts:
    """All that follows from the numbers, before it is put into words.

    `chances` of the words for the cylinders that were tested; `missing` ones were skipped or not reached.
    `probability` is that of the verdict, or of the likeliest word where none is sure or cylinders are missing.
    """

    verdict: EngineVerdict
    probability: float
    chances: Mapping[Verdict, float]
    cylinders: tuple[CylinderJudgement, ...]
    missing: tuple[int, ...]
    comparison: Comparison
    limits: Limits
    cold: bool | None

    def judged(self, *words: Verdict) -> tuple[CylinderJudgement, ...]:
        """The cylinders that have one of these words."""
        return tuple(cylinder for cylinder in self.cylinders if cylinder.judgement.verdict in words)


class Action(StrEnum):
    """What to do next; the value is the public word."""

    REASSEMBLE = "put it back together"
    REPEAT_HOT = "run it and repeat hot"
    FIND_LEAK = "find this leak"
    TAKE_APART = "take it apart"
    CANNOT_TELL = "cannot tell yet"


@dataclass(frozen=True, slots=True)
class EngineJudgement:
    """`advice` is one sentence that says `action`; `notes` are whole sentences, in the order of a report."""

    facts: EngineFacts
    action: Action
    advice: str
    notes: tuple[str, ...]
