"""The cylinders of a test as every screen shows them, put together from what is told. Pure.

Which readings of a cylinder count, as found and after taps, is told by its verdict and by nothing else: a stable
reading may be told again, and a result may be taken back or given to another cylinder.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from daq.procedure.states import Phase
from daq.records import (
    CylinderDone,
    CylinderJudged,
    Finding,
    Judged,
    Session,
    TakenBack,
    TapEffect,
    TapVerdict,
    Withdrawn,
)

_EFFECTS = {
    TapVerdict.IMPROVED: "better",
    TapVerdict.NO_CHANGE: "no change",
    TapVerdict.WORSE: "worse",
    TapVerdict.CANNOT_TELL: "cannot tell",
}


@dataclass(frozen=True, slots=True)
class Tapped:
    """How often a cylinder was tapped after one capture, and what that did, in a word: empty where the taps had a
    capture between them, for then each word tells of a part."""

    taps: int = 0
    effect: str = ""


@dataclass(frozen=True, slots=True)
class Cylinder:
    """What counts of one cylinder now; `stands` is `now`, `done`, `skipped` or `open`."""

    number: int
    stands: str
    as_found: Judged | None = None
    after_tap: Judged | None = None
    tapped: Tapped = field(default_factory=Tapped)
    heard: tuple[str, ...] = ()

    @property
    def counts(self) -> Judged | None:
        """After taps, if there were any."""
        return self.after_tap or self.as_found


class Cylinders:
    """Fed with what happens; the verdicts of other tests than that of the session do not count."""

    def __init__(self, test: str = "") -> None:
        self.test = test
        self.session: Session | None = None
        self._judged: dict[int, CylinderJudged] = {}
        self._tapped: dict[tuple[int, Judged | None], Tapped] = {}
        self._heard: dict[int, Finding] = {}

    def start(self, test: str) -> None:
        """Another test began; verdicts on it may have been heard already."""
        self.test = test
        self._tapped, self._heard = {}, {}

    def take(self, event: Any) -> bool:
        """Whether that may have changed something."""
        match event:
            case Session():
                self._stand(event)
            case CylinderJudged():
                self._judged[event.cylinder] = event
            case TapEffect(cylinder=int(cylinder)):
                self._tap(cylinder, event)
            case CylinderDone():
                self._finish(event)
            case Finding():
                self._heard[event.number] = event
            case Withdrawn(what=TakenBack.FINDING):
                self._heard.pop(event.number, None)
            case _:
                return False
        return True

    def verdict(self, cylinder: int) -> CylinderJudged | None:
        judged = self._judged.get(cylinder)
        return judged if judged is not None and judged.test == self.test else None

    def judged(self) -> Iterable[int]:
        """The cylinders of this test on which there is a verdict."""
        return [cylinder for cylinder in self._judged if self.verdict(cylinder)]

    def cylinder(self, number: int) -> Cylinder:
        judged = self.verdict(number)
        heard = tuple(_heard(each) for each in self._heard.values() if each.cylinder == number)
        as_found, after_tap = (judged.as_found, judged.after_tap) if judged else (None, None)
        tapped = self._tapped.get((number, as_found), Tapped()) if as_found else Tapped()
        return Cylinder(number, self._stands(number), as_found, after_tap, tapped, heard)

    def _stand(self, session: Session) -> None:
        if self.session is not None and session.test not in ("", self.test):
            self.start(session.test)
        self.test, self.session = session.test or self.test, session

    def _tap(self, cylinder: int, effect: TapEffect) -> None:
        key, before = self._key(cylinder)
        word = "" if before.taps else _EFFECTS[effect.verdict]
        self._tapped[key] = Tapped(before.taps + effect.taps, word)

    def _finish(self, done: CylinderDone) -> None:
        """Taps after the last capture are known only now."""
        key, before = self._key(done.cylinder)
        self._tapped[key] = Tapped(done.taps, before.effect)

    def _key(self, cylinder: int) -> tuple[tuple[int, Judged | None], Tapped]:
        """Taps belong to the capture as found that they came after: whatever counts later, they are not told of it."""
        judged = self.verdict(cylinder)
        key = (cylinder, judged.as_found if judged else None)
        return key, self._tapped.get(key, Tapped())

    def _stands(self, number: int) -> str:
        session = self.session
        if session is None:
            return "open"
        if session.cylinder == number and session.phase != Phase.DONE:
            return "now"
        if number in session.skipped:
            return "skipped"
        return "done" if number in session.done else "open"


def _heard(finding: Finding) -> str:
    hole = f" {finding.neighbour}" if finding.neighbour else ""
    return f"{finding.place.replace('-', ' ')}{hole}, {finding.strength}"
