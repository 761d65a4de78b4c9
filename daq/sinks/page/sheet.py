"""The sheet of a test as a page shows it: the cylinders in their order, and how each of them stands. Pure."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from daq.procedure import Procedure, TestPlan, plan_from
from daq.procedure.cautions import before_air
from daq.procedure.states import Phase
from daq.procedure.verdict import Limits
from daq.records import (
    CylinderDone,
    CylinderJudged,
    Event,
    Finding,
    Marked,
    MarkKind,
    Session,
    StableReading,
    TakenBack,
    TapEffect,
    TapVerdict,
    TestDone,
    TestStarted,
    Withdrawn,
)

_EFFECTS = {
    TapVerdict.IMPROVED: "better",
    TapVerdict.NO_CHANGE: "no change",
    TapVerdict.WORSE: "worse",
    TapVerdict.CANNOT_TELL: "cannot tell",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One cylinder: its readings, so far; `done` when it was vented after them."""

    as_found: StableReading | None = None
    after: StableReading | None = None
    taps: int = 0
    effect: TapEffect | None = None
    done: bool = False


class Sheet:
    """Fed with what happens. `limits` are as this instrument reads them."""

    def __init__(self, plan: TestPlan, limits: Limits) -> None:
        self._plan, self._limits = plan, limits
        self._lines: dict[int, Line] = {}
        self._session: Session | None = None
        self._judged: dict[int, CylinderJudged] = {}
        self._heard: dict[int, Finding] = {}
        self._takers: dict[type[Any], Callable[[Any], None]] = {
            TestStarted: self._start,
            Session: self._stand,
            StableReading: self._read,
            TapEffect: self._tapped,
            CylinderDone: self._finish,
            CylinderJudged: self._judge,
            Withdrawn: self._withdraw,
            Finding: self._hear,
            TestDone: lambda event: None,
        }

    def take(self, event: Event) -> bool:
        """Whether that changed something."""
        taker = self._takers.get(type(event))
        if taker is not None:
            taker(event)
        return taker is not None

    def recall(self, events: Sequence[Event]) -> None:
        """What a run before had done of a test that is gone on with: its start, before it perhaps how air and supply
        stood, then what moved it."""
        start = next(place for place, event in enumerate(events) if isinstance(event, TestStarted))
        procedure = Procedure(self._plan, self._limits)
        procedure.resume(events[: start + 1])
        self.take(events[start])
        for event in events[start + 1 :]:
            if not (isinstance(event, Marked) and event.kind == MarkKind.START):
                for each in procedure.feed(event):
                    self.take(each)
        self.take(procedure.session(0, 0.0))

    # ---- what happened

    def _start(self, event: TestStarted) -> None:
        self._plan = plan_from(event.plan)
        self._lines, self._judged, self._heard, self._session = {}, {}, {}, None

    def _stand(self, event: Session) -> None:
        self._session = event

    def _read(self, event: StableReading) -> None:
        if event.cylinder is None:
            return
        if event.phase == Phase.AS_FOUND:
            self._lines[event.cylinder] = Line(as_found=event)
        elif event.phase == Phase.AFTER_TAP:
            self._lines[event.cylinder] = replace(self._line(event.cylinder), after=event)

    def _tapped(self, event: TapEffect) -> None:
        if event.cylinder is not None:
            self._lines[event.cylinder] = replace(self._line(event.cylinder), taps=event.taps, effect=event)

    def _finish(self, event: CylinderDone) -> None:
        effect = self._line(event.cylinder).effect
        self._lines[event.cylinder] = Line(event.as_found, event.after_tap, event.taps, effect, done=True)

    def _judge(self, event: CylinderJudged) -> None:
        self._judged[event.cylinder] = event

    def _withdraw(self, event: Withdrawn) -> None:
        if event.what is TakenBack.FINDING:
            self._heard.pop(event.number, None)
        else:
            self._lines.pop(event.cylinder, None)

    def _hear(self, event: Finding) -> None:
        self._heard[event.number] = event

    def _line(self, cylinder: int) -> Line:
        return self._lines.get(cylinder, Line())

    # ---- how it looks

    def body(self) -> str:
        """JSON, losses in percent at the set point. `cautions` as long as nobody has acknowledged them."""
        session = self._session
        waiting = session is not None and session.phase == Phase.CAUTIONS
        profile = self._plan.about.get("profile")
        certified = isinstance(profile, dict) and bool(profile.get("certified"))
        return json.dumps(
            {
                "test": self._plan.test if session is None or not session.test else session.test,
                "engine": self._plan.engine.name,
                "order": self._plan.engine.firing_order,
                "temperature": self._plan.temperature,
                "limits": self._limits_words(),
                "cautions": [caution.text for caution in before_air(certified)] if waiting else [],
                "rows": [self._row(cylinder) for cylinder in self._plan.engine.firing_order],
            }
        )

    def _limits_words(self) -> str:
        sound, investigate = self._limits.sound_to.loss_pct, self._limits.investigate_from.loss_pct
        return f"{self._limits.name}: sound to {sound:.3g} %, look from {investigate:.3g} %"

    def _row(self, cylinder: int) -> dict[str, Any]:
        line, heard = self._line(cylinder), [each for each in self._heard.values() if each.cylinder == cylinder]
        judged = self._judged.get(cylinder)
        counts = judged and judged.counts
        return {
            "cylinder": cylinder,
            "state": self._state(cylinder, line),
            "as_found": _interval(line.as_found),
            "after": _interval(line.after),
            "taps": line.taps,
            "effect": _effect(line.effect),
            "verdict": counts.verdict if counts else "",
            "heard": [_heard(each) for each in heard],
        }

    def _state(self, cylinder: int, line: Line) -> str:
        session = self._session
        if session is not None and session.cylinder == cylinder and session.phase != Phase.DONE:
            return "now"
        if session is not None and cylinder in session.skipped:
            return "skipped"
        return "done" if line.done else "open"


def _interval(reading: StableReading | None) -> list[float] | None:
    """The loss and the half-width of its 95 % interval."""
    return [round(reading.loss_at_set_pct, 3), round(reading.half_width_pct, 3)] if reading is not None else None


def _effect(effect: TapEffect | None) -> str:
    if effect is None:
        return ""
    change_pct = round(effect.change_pct, 1) + 0.0  # no minus before a zero
    return f"{_EFFECTS[effect.verdict]}, {change_pct:+.1f} points"


def _heard(finding: Finding) -> str:
    hole = f" {finding.neighbour}" if finding.neighbour else ""
    return f"{finding.place.replace('-', ' ')}{hole}, {finding.strength}"
