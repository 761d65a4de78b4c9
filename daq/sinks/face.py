"""What a person looks at, wherever it is shown: the face of a bench, the reading in one word, the one thing to do."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from daq.procedure.wording import cylinders
from daq.records import Session
from daq.units import PressureUnit

STALE_S = 2.0
MOST_NAMED = 4
"""Cylinders that were left out are named one by one up to so many: more cannot be taken in at a glance."""

_WANTED = {
    "cautions": "READ THE CAUTIONS AND ACKNOWLEDGE THEM, NO AIR YET",
    "pressurise": "RAISE THE SUPPLY TO ITS SET POINT, GENTLY",
    "crank-moved": "CRANK MOVED: VENT THE AIR NOW",
    "paused": "PAUSED. GO ON WHEN YOU ARE READY",
    "wait-air": "CONNECT CYLINDER {cylinder}, CRANK HELD, THEN AIR",
    "settle": "SETTLING, WAIT",
    "as-found": "CAPTURED. TAP THE VALVES, OR VENT FOR THE NEXT",
    "resettle": "TAPPED. SETTLING, WAIT",
    "after-tap": "CAPTURED AFTER TAP. TAP AGAIN, OR VENT",
    "done": "{done}",
}
_WITH_AIR = {
    "cautions": "AIR IS ON: VENT IT, THEN READ THE CAUTIONS AND ACKNOWLEDGE THEM",
    "wait-air": "VENT THE AIR. THEN CYLINDER {cylinder}",
    "done": "{done}. VENT THE AIR",
}
"""Where no air should be, and is: after a word instead of a hand."""
NO_LOSS = ("STALE", "NO AIR", "AIR ON")
"""The states in which the newest loss is none of the cylinder that is named."""
_NEEDS_SUPPLY = ("settle", "as-found", "resettle", "after-tap")


@dataclass(frozen=True, slots=True)
class Face:
    """What there is to see at one moment. Pressures in pascals, gauge; None where nothing is known."""

    bench: str
    engine: str = ""
    cylinder: int | None = None
    phase: str = ""
    line_up: bool = False
    supply_gauge_pa: float | None = None
    cylinder_gauge_pa: float | None = None
    loss_pct: float | None = None
    held: bool = False
    stable: bool = False
    age_s: float = math.inf
    air_on: bool | None = None
    """The cylinder side is under pressure; None where nobody has said so."""
    not_done: tuple[int, ...] = ()
    """The cylinders of the test that have no result, in its order."""
    expected_pct: tuple[float, float, float] | None = None
    """While it fills: where the loss is expected to end, and the interval that holds it in 95 of 100 cases."""

    @property
    def stale(self) -> bool:
        return self.age_s > STALE_S

    def at(self, session: Session) -> Face:
        """The same bench where the test stands as `session` says."""
        not_done = tuple(each for each in session.order or session.skipped if each not in session.done)
        engine, cylinder, phase = session.engine, session.cylinder, session.phase
        return replace(self, engine=engine, cylinder=cylinder, phase=phase, not_done=not_done)


def wanted(face: Face) -> str:
    """The one thing to do or know now."""
    if not face.line_up:
        return "NO BOARD ON THE LINE"
    if face.stale:
        return "OLD DATA: NOTHING NEW FROM THE BOARD"
    if face.phase in _NEEDS_SUPPLY and not face.held:
        return "SUPPLY IS NOT AT ITS SET POINT"
    if face.phase in ("settle", "resettle") and face.expected_pct is not None:
        return "SETTLING, EXPECT {:.1f} % ({:.1f} TO {:.1f})".format(*face.expected_pct)
    words = _WITH_AIR if face.air_on and face.phase in _WITH_AIR else _WANTED
    return words.get(face.phase, "WAITING").format(cylinder=face.cylinder, done=_done(face.not_done))


def _done(missing: tuple[int, ...]) -> str:
    if not missing:
        return "ALL CYLINDERS DONE"
    named = cylinders(missing) if len(missing) <= MOST_NAMED else f"{len(missing)} cylinders"
    return f"TEST FINISHED. WITHOUT {named.upper()}"


def state(face: Face) -> str:
    """The reading in a word or two."""
    if not face.line_up or face.stale:
        return "STALE"
    if face.phase == "crank-moved":
        return "ALARM"
    if face.phase in _WITH_AIR:
        return "AIR ON" if face.air_on else "NO AIR"
    if face.phase == "paused" and face.air_on is False:
        return "NO AIR"
    if not face.held:
        return "NOT HELD"
    return "STABLE" if face.stable else "SETTLING"


def visible_loss_pct(face: Face) -> float | None:
    """The loss, where there is one to be seen: never an old one, nor what is no number."""
    known = face.loss_pct is not None and math.isfinite(face.loss_pct)
    return face.loss_pct if known and state(face) not in NO_LOSS else None


def shown_pressure(pressure_pa: float | None, unit: PressureUnit) -> str:
    """`-` for what is not known, NaN included."""
    return unit.show(pressure_pa) if pressure_pa is not None and math.isfinite(pressure_pa) else "-"
