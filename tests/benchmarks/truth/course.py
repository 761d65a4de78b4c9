"""What happens on a random bench: fill, hold, taps or something that is no tap, hold, vent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from simulator.build import bench_traits
from simulator.scenario import BenchSection, Scenario
from simulator.truth import leak_area_m2
from simulator.units import MM2, PSI
from tests.benchmarks.truth.dice import Dice

Table = dict[str, Any]
AIR_ON_S, VENT_S = 0.6, 2.0
"""The cylinder is on the hose from the first moment; of the vent the fall is seen, and a rest long enough to take it
for a fault."""
WITH_TAPS, WITH_OTHERS = 0.75, 0.15
"""Share of benches with taps, and with things that are no taps; on the rest nothing happens."""
NO_EFFECT, HELPED = 0.4, 0.4
"""Share of taps that change nothing, and that help; the rest make it worse."""


@dataclass(frozen=True)
class Hold:
    """The mechanic waits from `from_s` to `to_s`; `kind`: `fill`, `tap` (after taps), `other` (after what is none)."""

    kind: str
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Course:
    """The cylinder and the actions as tables of a scenario. Times are those of the scenario."""

    cylinder: Table
    actions: list[Table]
    holds: tuple[Hold, ...]
    blows_s: tuple[float, ...]
    vent_s: float


@dataclass(frozen=True)
class Leak:
    """Areas in mm2: what stays, debris that is there at first, and debris that a tap lodges."""

    lasting: float
    debris: float = 0.0
    lodged: float = 0.0


@dataclass(frozen=True)
class Middle:
    """What happens between the two holds, and when it is over; `kind` is that of the hold after it."""

    kind: str
    actions: list[Table]
    end_s: float
    blows_s: tuple[float, ...] = ()


def draw_course(dice: Dice, bench: BenchSection, volume_cc: float) -> Course:
    """`volume_cc` tells how long a mechanic waits."""
    hold_s = (3.5 + 0.03 * volume_cc) * dice.between(dice.ranges.patience)
    ramp_s = dice.between(dice.ranges.ramp_s)
    begin_s = AIR_ON_S + ramp_s + hold_s
    leak, middle = _middle(dice, bench, begin_s)
    vent_s = middle.end_s + hold_s
    both = (Hold("fill", AIR_ON_S, begin_s), Hold(middle.kind, middle.end_s, vent_s))
    actions = [
        {"do": "connect", "at_s": 0.0, "cylinder": 1},
        {"do": "air", "at_s": AIR_ON_S, "ramp_s": ramp_s},
        *middle.actions,
        {"do": "vent", "at_s": vent_s},
    ]
    holds = both if middle.kind else (Hold("fill", AIR_ON_S, vent_s),)
    return Course(_cylinder(dice, leak), actions, holds, middle.blows_s, vent_s)


def _middle(dice: Dice, bench: BenchSection, begin_s: float) -> tuple[Leak, Middle]:
    fate = dice.rng.random()
    if fate < WITH_TAPS:
        leak = _leak_with_taps(dice, bench)
        return leak, _taps(dice, begin_s, leak)
    leak = Leak(_area_mm2(bench, dice.log(dice.ranges.loss_pct)))
    if fate < WITH_TAPS + WITH_OTHERS:
        return leak, _others(dice, begin_s, bench.set_point_psi)
    return leak, Middle("", [], begin_s)


def _area_mm2(bench: BenchSection, loss_pct: float) -> float:
    scenario = Scenario.model_validate(
        {"title": "", "engine": {"name": "", "order": [1]}, "cylinder": [{"number": 1}], "bench": bench}
    )
    return leak_area_m2(bench_traits(scenario), loss_pct, bench.set_point_psi * PSI) / MM2


def _leak_with_taps(dice: Dice, bench: BenchSection) -> Leak:
    low_pct, change_pct = dice.log(dice.ranges.loss_pct), dice.log(dice.ranges.change_pct)
    lasting, more = (_area_mm2(bench, loss_pct) for loss_pct in (low_pct, low_pct + change_pct))
    fate = dice.rng.random()
    if fate < NO_EFFECT:
        return Leak(lasting)
    return Leak(lasting, debris=more - lasting) if fate < NO_EFFECT + HELPED else Leak(lasting, lodged=more - lasting)


def _cylinder(dice: Dice, leak: Leak) -> Table:
    path = dice.one_of("crankcase", "intake", "exhaust")
    return {"number": 1, "leaks_mm2": {path: leak.lasting}, "debris_mm2": {"exhaust": leak.debris}}


def _taps(dice: Dice, begin_s: float, leak: Leak) -> Middle:
    """Blows, one of which has the effect."""
    ranges = dice.ranges
    count, every_s = dice.whole(ranges.blows), dice.between(ranges.every_s)
    lucky, end_s = dice.whole((0, count - 1)), begin_s
    blows: list[Table] = []
    for place in range(count):
        at_s, open_ms = begin_s + place * every_s, dice.log(ranges.open_ms)
        effect = {"clears": float(leak.debris > 0.0), "lodges_mm2": leak.lodged} if place == lucky else {}
        area_mm2 = dice.log(ranges.tap_area_mm2)
        blows.append({"do": "tap", "at_s": at_s, "open_ms": open_ms, "area_mm2": area_mm2, **effect})
        end_s = at_s + 1e-3 * open_ms
    return Middle("tap", blows, end_s, tuple(blow["at_s"] for blow in blows))


def _others(dice: Dice, begin_s: float, set_point_psi: float) -> Middle:
    """One or two things that are no taps."""
    actions: list[Table] = []
    at_s = end_s = begin_s
    for _ in range(dice.whole((1, 2))):
        for_s = dice.log((0.1, 2.5))
        choices: list[Table] = [
            {"do": "droop", "to_psi": set_point_psi - dice.log((0.5, 25.0)), "for_s": for_s},
            {"do": "squeeze", "by_cc": dice.log((0.05, 0.4)), "for_s": for_s},
            {"do": "set_point", "to_psi": set_point_psi + dice.between((-1.0, 1.0))},
        ]
        action = dice.one_of(*choices)
        actions.append(action | {"at_s": at_s})
        end_s = at_s + float(action.get("for_s", 0.0))
        at_s = end_s + dice.between((0.5, 2.0))
    return Middle("other", actions, end_s)
