"""What a test goes by: which engine, in which order, how warm. Pure; it travels as JSON in the text of a mark.

So the raw log holds it, and a replay goes by the same plan. What the procedure does not need (the whole profile of the
engine, the words of the operator) travels along in `about`, for the report.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from enum import StrEnum
from typing import Any

from daq.errors import UsageError
from daq.procedure.engine import EngineOrder

MOST_CHARACTERS = 64


class Temperature(StrEnum):
    COLD = "cold"
    HOT = "hot"
    UNKNOWN = "unknown"

    @property
    def cold(self) -> bool | None:
        """None where nobody said."""
        return None if self is Temperature.UNKNOWN else self is Temperature.COLD


@dataclass(frozen=True, slots=True)
class TestPlan:
    """`test` names it, once in a database. `turn_deg` is how far the crank is turned from each cylinder of the order to
    the one after it, empty where nobody knows.

    `explicit` is False for a test that begins by itself with the first air. `acknowledged` names who has read the
    cautions; empty: nobody yet. `soft_step`: the first air of each cylinder is a low pressure.
    """

    __test__ = False  # the name is a garage word, not a test of this project

    test: str
    engine: EngineOrder
    turn_deg: tuple[float, ...] = ()
    temperature: Temperature = Temperature.UNKNOWN
    explicit: bool = True
    acknowledged: str = ""
    soft_step: bool = False
    has_valves: bool = True
    about: Mapping[str, Any] = field(default_factory=dict)

    def to_text(self) -> str:
        """JSON; `plan_from` gives it back."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    def named(self, test: str) -> TestPlan:
        return replace(self, test=test)

    def turn_to(self, cylinder: int) -> float | None:
        """Degrees of crank from the cylinder that comes before `cylinder` in the order; None if there is none."""
        place = self.engine.firing_order.index(cylinder)
        return self.turn_deg[place - 1] if self.turn_deg and place else None


def plan_from(text: str) -> TestPlan:
    """The plan in the text of a mark. Raises UsageError that says what is wrong with it."""
    try:
        content = json.loads(text)
        engine = EngineOrder(str(content["engine"]["name"]), tuple(int(n) for n in content["engine"]["firing_order"]))
        plan = TestPlan(
            test=str(content["test"]),
            engine=engine,
            turn_deg=tuple(float(degrees) for degrees in content.get("turn_deg", ())),
            temperature=Temperature(content.get("temperature", Temperature.UNKNOWN)),
            explicit=bool(content.get("explicit", True)),
            acknowledged=str(content.get("acknowledged", "")),
            soft_step=bool(content.get("soft_step", False)),
            has_valves=bool(content.get("has_valves", True)),
            about=dict(content.get("about", {})),
        )
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError) as error:
        todo = "Start the test with `boretight test start`, which writes the plan."
        raise UsageError("This is no plan of a test.", todo, f"{type(error).__name__}: {error}") from error
    _check(plan)
    return plan


def _check(plan: TestPlan) -> None:
    if not plan.test or len(plan.test) > MOST_CHARACTERS or not plan.test.isprintable():
        raise UsageError(
            f"A test has a name of 1 to {MOST_CHARACTERS} printable characters.",
            "Choose a shorter one on one line, or none: then it is made of the time.",
            repr(plan.test),
        )
    if plan.turn_deg and len(plan.turn_deg) != len(plan.engine.firing_order):
        raise UsageError(
            "The plan gives no turn of the crank for some cylinders.",
            todo="Start the test with `boretight test start`, which takes the turns from the profile of the engine.",
            evidence=f"{len(plan.turn_deg)} turns, {len(plan.engine.firing_order)} cylinders",
        )
