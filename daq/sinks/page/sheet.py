"""The sheet of a test as a page shows it: the cylinders in their order, and how each of them stands. Pure."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from daq.procedure import Procedure, TestPlan, plan_from
from daq.procedure.cautions import before_air
from daq.procedure.states import Phase
from daq.procedure.verdict import Limits
from daq.records import Event, Judged, Marked, MarkKind, TestStarted
from daq.sinks.cylinders import Cylinder, Cylinders


class Sheet:
    """Fed with what happens. `limits` are as this instrument reads them."""

    def __init__(self, plan: TestPlan, limits: Limits) -> None:
        self._plan, self._limits = plan, limits
        self._cylinders = Cylinders(plan.test)

    def take(self, event: Event) -> bool:
        """Whether that changed something."""
        if isinstance(event, TestStarted):
            self._plan = plan_from(event.plan)
            self._cylinders.start(event.test)
            return True
        return self._cylinders.take(event)

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

    # ---- how it looks

    def body(self) -> str:
        """JSON, losses in percent at the set point. `cautions` as long as nobody has acknowledged them."""
        session = self._cylinders.session
        waiting = session is not None and session.phase == Phase.CAUTIONS
        profile = self._plan.about.get("profile")
        certified = isinstance(profile, dict) and bool(profile.get("certified"))
        return json.dumps(
            {
                "test": self._cylinders.test,
                "engine": self._plan.engine.name,
                "order": self._plan.engine.firing_order,
                "temperature": self._plan.temperature,
                "limits": self._limits_words(),
                "cautions": [caution.text for caution in before_air(certified)] if waiting else [],
                "rows": [_row(self._cylinders.cylinder(number)) for number in self._plan.engine.firing_order],
            }
        )

    def _limits_words(self) -> str:
        sound, investigate = self._limits.sound_to.loss_pct, self._limits.investigate_from.loss_pct
        return f"{self._limits.name}: sound to {sound:.3g} %, look from {investigate:.3g} %"


def _row(cylinder: Cylinder) -> dict[str, Any]:
    return {
        "cylinder": cylinder.number,
        "state": cylinder.stands,
        "as_found": _interval(cylinder.as_found),
        "after": _interval(cylinder.after_tap),
        "taps": cylinder.tapped.taps,
        "effect": _effect(cylinder),
        "verdict": cylinder.counts.verdict if cylinder.counts else "",
        "heard": list(cylinder.heard),
    }


def _interval(found: Judged | None) -> list[float] | None:
    """The loss and the half-width of its 95 % interval."""
    return [round(found.loss_pct, 3), round(found.expanded_u_loss_pct, 3)] if found else None


def _effect(cylinder: Cylinder) -> str:
    """What the taps did, in a word if there is one, and in points."""
    if cylinder.as_found is None or cylinder.after_tap is None:
        return ""
    change_pct = round(cylinder.after_tap.loss_pct - cylinder.as_found.loss_pct, 1) + 0.0  # no minus before a zero
    return ", ".join(filter(None, (cylinder.tapped.effect, f"{change_pct:+.1f} points")))
