"""The cylinders of the test that a bench is at, put together from its messages alone: also by one who came late."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from daq.procedure.verdict import Verdict
from daq.records import CylinderJudged, Judged, StableReading
from daq.sinks.cylinders import Cylinder, Cylinders

FINE_PCT = 0.3
"""An interval narrower than this is worth a second digit."""

_STANDS = {"now": "now", "done": "done", "skipped": "left out", "open": ""}


def row_words(cylinder: Cylinder) -> tuple[str, str, str, str, str]:
    """Cylinder, loss as found, loss after taps, the verdict, what the taps did and where air was heard."""
    number = f"{cylinder.number} {_STANDS[cylinder.stands]}".rstrip()
    losses = loss_of(cylinder.as_found), loss_of(cylinder.after_tap)
    taps = cylinder.tapped.taps
    told = ", ".join(filter(None, (f"{taps} tap{'' if taps == 1 else 's'}" if taps else "", cylinder.tapped.effect)))
    return number, *losses, verdict(cylinder.counts), "; ".join(filter(None, (told, *cylinder.heard)))


def interval(reading: StableReading) -> str:
    """`28.9 ± 1.0 %`, the 95 % interval."""
    return _interval(reading.loss_at_set_pct, reading.half_width_pct)


def loss_of(found: Judged | None) -> str:
    """The same of what was judged; empty where nothing was."""
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


class Sheet(Cylinders):
    """Fed with what is heard of one bench."""

    def judge(self, judged: CylinderJudged) -> bool:
        """The retained verdict on a cylinder. Whether it is news, of the test that the bench is at; a daemon that goes
        on with a test tells it again."""
        before = self.verdict(judged.cylinder)
        self.take(judged)
        told = before is not None and replace(before, segment=judged.segment, t_s=judged.t_s) == judged
        return judged.test == self.test and not told

    def rows(self) -> Iterator[Cylinder]:
        """In the order of the test; a bench that does not tell it tells a part."""
        session = self.session
        if session is None:
            return
        about = [*session.done, session.cylinder, session.next_cylinder, *session.skipped, *self.judged()]
        for number in session.order or dict.fromkeys(each for each in about if each):
            yield self.cylinder(number)
