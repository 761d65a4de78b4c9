"""Events of a test: where it stands, what was found, what to tell, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar

from daq.records.measured import StableReading


@dataclass(frozen=True, slots=True)
class TestStarted:
    """A test began; `plan` is the whole of what it goes by, as JSON (see daq/procedure/plan.py)."""

    __test__: ClassVar[bool] = False  # the name is a garage word, not a test of this project
    segment: int
    t_s: float
    test: str
    engine: str
    plan: str


@dataclass(frozen=True, slots=True)
class Session:
    """Where the test of the engine stands: `next_cylinder` is None at the end of `order`, that of the whole test.

    `can_undo`: there is something that `undo` would take back now.
    """

    segment: int
    t_s: float
    engine: str
    cylinder: int | None
    phase: str
    next_cylinder: int | None
    test: str = ""
    done: tuple[int, ...] = ()
    skipped: tuple[int, ...] = ()
    order: tuple[int, ...] = ()
    can_undo: bool = True


class Place(StrEnum):
    """Where air that leaks can come out."""

    INTAKE = "intake"
    EXHAUST = "exhaust"
    CRANKCASE = "crankcase"
    COOLANT = "coolant"
    NEXT_CYLINDER = "next-cylinder"
    ELSEWHERE = "elsewhere"


class Strength(StrEnum):
    NONE = "none"
    FAINT = "faint"
    CLEAR = "clear"


@dataclass(frozen=True, slots=True)
class Finding:
    """What the operator heard or saw while `cylinder` was under air; `number` counts the findings of the test.

    `neighbour` is the plug hole of another cylinder that the air came out of, where `place` says so.
    """

    segment: int
    t_s: float
    number: int
    cylinder: int
    place: Place
    strength: Strength
    neighbour: int | None = None
    note: str = ""


class TakenBack(StrEnum):
    RESULT = "result"
    ATTEMPT = "attempt"
    SKIP = "skip"
    FINDING = "finding"


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """Something does not count any more: the result or an unfinished attempt at a cylinder, that it was skipped, or a
    finding. `number` is that of the attempt or of the finding; nothing of it is deleted."""

    segment: int
    t_s: float
    what: TakenBack
    cylinder: int
    number: int
    reason: str


class CueLevel(StrEnum):
    """How urgent a cue is: news, something to do now, beware, and danger."""

    NEWS = "news"
    DO = "do"
    CAUTION = "caution"
    ALARM = "alarm"


@dataclass(frozen=True, slots=True)
class Cue:
    """Something to be told aloud. `cue` names it, `values` fill its words in any language, `text` is the English."""

    segment: int
    t_s: float
    cue: str
    level: CueLevel
    text: str
    cylinder: int | None = None
    values: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CylinderDone:
    """A cylinder was vented after at least one capture. Losses are at the set point.

    `attempt` counts how often this cylinder has been put under air in this test, from 1.
    """

    segment: int
    t_s: float
    cylinder: int
    as_found: StableReading
    after_tap: StableReading | None
    taps: int
    attempt: int = 1


@dataclass(frozen=True, slots=True)
class Judged:
    """What a reading says of its cylinder: the loss at the set point with the half-width of its 95 % interval, a word
    (see `daq.procedure.verdict`), and the chance of that word, or of the likeliest where it is too close to call."""

    loss_pct: float
    expanded_u_loss_pct: float
    verdict: str
    probability: float


@dataclass(frozen=True, slots=True)
class CylinderJudged:
    """What counts of a cylinder was judged anew; with neither reading, nothing of it counts any more.

    The limits are as this instrument reads them.
    """

    segment: int
    t_s: float
    test: str
    cylinder: int
    as_found: Judged | None
    after_tap: Judged | None
    limits: str
    sound_to_pct: float
    investigate_from_pct: float

    @property
    def counts(self) -> Judged | None:
        """After taps, if there were any."""
        return self.after_tap or self.as_found


@dataclass(frozen=True, slots=True)
class TestDone:
    """The last cylinder of the order is done, or the operator ended the test before (`complete` False)."""

    __test__: ClassVar[bool] = False
    segment: int
    t_s: float
    engine: str
    cylinders: tuple[CylinderDone, ...] = field(default_factory=tuple)
    test: str = ""
    skipped: tuple[int, ...] = ()
    complete: bool = True
