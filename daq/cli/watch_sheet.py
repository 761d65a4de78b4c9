"""The cylinders of the test that a bench is at, put together from its messages alone: also by one who came late."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from daq.procedure.states import CAPTURED, Phase
from daq.procedure.verdict import Verdict
from daq.records import (
    CylinderDone,
    CylinderJudged,
    Finding,
    Judged,
    Session,
    StableReading,
    TakenBack,
    TapEffect,
    Withdrawn,
)

FINE_PCT = 0.3
"""An interval narrower than this is worth a second digit."""

_DID = {"improved": "better", "no-change": "no change", "worse": "worse", "cannot-tell": "cannot tell"}


@dataclass(frozen=True, slots=True)
class Row:
    """One cylinder as far as it is known; `stands` is `now`, `done`, `left out` or empty.

    A verdict tells the losses that it speaks of: who comes late has them from there.
    """

    cylinder: int
    as_found: StableReading | None = None
    after: StableReading | None = None
    taps: int = 0
    effect: TapEffect | None = None
    judged: CylinderJudged | None = None
    heard: tuple[str, ...] = ()
    stands: str = ""

    def words(self) -> tuple[str, str, str, str, str]:
        """Cylinder, loss as found, loss after taps, the verdict, what the taps did and where air was heard."""
        taps = f"{self.taps} tap{'' if self.taps == 1 else 's'}" if self.taps else ""
        did = _DID[self.effect.verdict] if self.effect else ""
        told = ", ".join(filter(None, (taps, did)))
        number = f"{self.cylinder} {self.stands}".rstrip()
        as_found, after = (self.judged.as_found, self.judged.after_tap) if self.judged else (None, None)
        losses = (interval(self.as_found) or loss_of(as_found), interval(self.after) or loss_of(after))
        return number, *losses, verdict(after or as_found), "; ".join(filter(None, (told, *self.heard)))


def interval(reading: StableReading | None) -> str:
    """`28.9 ± 1.0 %`, the 95 % interval; empty where there is no reading."""
    return _interval(reading.loss_at_set_pct, reading.half_width_pct) if reading else ""


def loss_of(found: Judged | None) -> str:
    """The same of a reading of which the verdict tells."""
    return _interval(found.loss_pct, found.expanded_u_loss_pct) if found else ""


def verdict(found: Judged | None) -> str:
    """`sound, 97 %`: the word and its chance, which is never 100 %; empty where nothing was judged."""
    if found is None or found.verdict == Verdict.TOO_CLOSE:
        return found.verdict if found else ""
    chance = f"{found.probability:.0%}".replace("%", " %") if found.probability < 0.99 else "> 99 %"
    return f"{found.verdict}, {chance}"


def _interval(loss_pct: float, half_pct: float) -> str:
    digits = 2 if half_pct < FINE_PCT else 1
    return f"{loss_pct:.{digits}f} ± {half_pct:.{digits}f} %"


class Sheet:
    """Fed with what is heard of one bench."""

    def __init__(self) -> None:
        self.session: Session | None = None
        self.test = ""
        self._rows: dict[int, Row] = {}
        self._kept: dict[int, StableReading] = {}
        self._judged: dict[int, CylinderJudged] = {}
        self._findings: dict[int, Finding] = {}

    def start(self, test: str) -> None:
        """A test began; what was retained of cylinders belongs to one before."""
        self.test = test
        self._rows, self._kept, self._findings = {}, {}, {}

    def keep(self, reading: StableReading) -> None:
        """The retained reading of a cylinder, of this test or of one before: see `_found`."""
        if reading.cylinder is not None:
            self._kept[reading.cylinder] = reading

    def judge(self, judged: CylinderJudged) -> bool:
        """The retained verdict on a cylinder. Whether it is news, of the test that the bench is at."""
        before = self._judged.get(judged.cylinder)
        self._judged[judged.cylinder] = judged
        return judged != before and judged.test == self.test

    def take(self, event: Any) -> None:
        match event:
            case Session():
                self._stand(event)
            case StableReading(cylinder=int()):
                self._read(event)
            case TapEffect(cylinder=int(cylinder)):
                self._put(replace(self._found(cylinder), taps=event.taps, effect=event))
            case CylinderDone():
                self._finish(event)
            case Withdrawn():
                self._withdraw(event)
            case Finding():
                self._findings[event.number] = event

    def rows(self) -> Iterator[Row]:
        """In the order of the test; a bench that does not tell it tells a part."""
        session = self.session
        if session is None:
            return
        about = [*session.done, session.cylinder, session.next_cylinder, *session.skipped, *self._rows]
        for cylinder in session.order or dict.fromkeys(each for each in about if each):
            heard = tuple(_heard(each) for each in self._findings.values() if each.cylinder == cylinder)
            judged = self._verdict(session, cylinder)
            yield replace(self._found(cylinder), judged=judged, heard=heard, stands=self._stands(session, cylinder))

    def _verdict(self, session: Session, cylinder: int) -> CylinderJudged | None:
        """One of another test does not count here."""
        judged = self._judged.get(cylinder)
        return judged if judged is not None and judged.test == session.test else None

    def _stand(self, session: Session) -> None:
        if self.session is not None and session.test != self.test:
            self.start(session.test)
        self.test = session.test
        self.session = session

    def _read(self, reading: StableReading) -> None:
        cylinder = reading.cylinder or 0
        if reading.phase == Phase.AFTER_TAP:
            self._put(replace(self._found(cylinder), after=reading))
        else:
            self._put(Row(cylinder, as_found=reading))

    def _finish(self, done: CylinderDone) -> None:
        """The readings themselves tell more, where they were heard."""
        row = self._rows.get(done.cylinder, Row(done.cylinder))
        after = row.after or done.after_tap
        self._put(replace(row, as_found=row.as_found or done.as_found, after=after, taps=done.taps))

    def _withdraw(self, withdrawn: Withdrawn) -> None:
        if withdrawn.what is TakenBack.FINDING:
            self._findings.pop(withdrawn.number, None)
        else:
            self._rows.pop(withdrawn.cylinder, None)
            self._kept.pop(withdrawn.cylinder, None)

    def _put(self, row: Row) -> None:
        self._rows[row.cylinder] = row

    def _found(self, cylinder: int) -> Row:
        """A retained reading counts only where the session says that this test has one."""
        row, kept, session = self._rows.get(cylinder), self._kept.get(cylinder), self.session
        if row is not None or kept is None or session is None:
            return row or Row(cylinder)
        captured = cylinder == session.cylinder and session.phase in CAPTURED
        if cylinder not in session.done and not captured:
            return Row(cylinder)
        return Row(cylinder, after=kept) if kept.phase == Phase.AFTER_TAP else Row(cylinder, as_found=kept)

    def _stands(self, session: Session, cylinder: int) -> str:
        if cylinder == session.cylinder and session.phase != Phase.DONE:
            return "now"
        if cylinder in session.skipped:
            return "left out"
        return "done" if cylinder in session.done else ""


def _heard(finding: Finding) -> str:
    hole = f" {finding.neighbour}" if finding.neighbour else ""
    return f"{finding.place.replace('-', ' ')}{hole}, {finding.strength}"
