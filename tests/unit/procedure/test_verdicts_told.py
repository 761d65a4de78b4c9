"""What counts of a cylinder is judged where it happens, and told anew whenever something else counts."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.procedure.verdict import COMMON_PRACTICE, judge
from daq.records import (
    AirChange,
    AirState,
    CylinderJudged,
    Event,
    Fault,
    Judged,
    Marked,
    SupplyChange,
    SupplyState,
    Tap,
)
from daq.sinks.event_json import FOLLOWED_KINDS, event_from, kind_of, plain
from tests.suites.deliveries import stable

ON, OFF = AirChange(1, 1.0, AirState.ON, 6e5), AirChange(1, 9.0, AirState.OFF, 0.0)
HELD = SupplyChange(1, 0.5, SupplyState.HELD, 6.9e5, 6.9e5, "")
TAP = Tap(1, 5.0, 4.0, 5e4, 1.0)
CRANK = Fault(1, 6.0, "crank-moved", "it fell and stays", "Vent the air.")
PLAN = TestPlan("spring", EngineOrder("invented four", (1, 3, 4, 2)), acknowledged="kim")
NARROW = replace(COMMON_PRACTICE, sound_to=replace(COMMON_PRACTICE.sound_to, loss_pct=3.0))


def reading(loss_pct: float, u_pct: float = 0.5) -> Event:
    return replace(stable(3.0, None), loss_at_set_pct=loss_pct, u_loss_pct=u_pct, expanded_u_loss_pct=1.1, phase="")


def mark(kind: str, text: str = "") -> Marked:
    return Marked(1, 2.0, kind, text, "operator")


def started() -> Procedure:
    procedure = Procedure(TestPlan("other", PLAN.engine))
    feed(procedure, mark("start", PLAN.to_text()), HELD)
    return procedure


def feed(procedure: Procedure, *events: Event) -> list[CylinderJudged]:
    return [out for event in events for out in procedure.feed(event) if isinstance(out, CylinderJudged)]


def words(told: list[CylinderJudged]) -> list[tuple[int, str, str]]:
    return [
        (each.cylinder, *(found.verdict if found else "" for found in (each.as_found, each.after_tap))) for each in told
    ]


def test_each_capture_is_judged_as_found_and_after_taps() -> None:
    told = feed(started(), ON, reading(17.5), TAP, reading(6.0), TAP, reading(12.5), OFF)
    assert words(told) == [(1, "investigate", ""), (1, "investigate", "sound"), (1, "investigate", "watch")]
    assert told[0].test == "spring" and told[0].counts == told[0].as_found and told[2].counts == told[2].after_tap
    assert (told[0].limits, told[0].sound_to_pct, told[0].investigate_from_pct) == ("common practice", 10.0, 15.0)


def test_word_and_chance_are_those_of_the_judgement_itself() -> None:
    (told,) = feed(started(), ON, taken := reading(10.2))
    found = judge(taken, COMMON_PRACTICE, None)  # type: ignore[arg-type]
    assert told.as_found == Judged(10.2, 1.1, found.verdict.value, found.probability)
    assert told.as_found.verdict == "too close to call"


def test_the_limits_are_those_of_this_instrument() -> None:
    procedure = Procedure(PLAN, NARROW)
    (told,) = feed(procedure, HELD, ON, reading(5.0))
    assert (words([told]), told.sound_to_pct) == ([(1, "watch", "")], 3.0)


def test_a_reading_without_an_uncertainty_has_no_verdict() -> None:
    assert words(feed(started(), ON, reading(5.0, math.nan))) == [(1, "", "")]


@pytest.mark.parametrize(
    ("then", "expected"),
    [
        ([mark("again")], [(1, "", "")]),
        ([mark("skip")], [(1, "", "")]),
        ([CRANK, OFF], [(1, "", "")]),
        ([OFF, mark("undo")], [(1, "", "")]),
        ([OFF, mark("again")], [(1, "", "")]),
        ([mark("cylinder", "4")], [(1, "", ""), (4, "sound", "")]),
        ([OFF, mark("cylinder", "1"), ON, reading(20.0)], [(1, "investigate", "")]),
        ([OFF, mark("cylinder", "1"), ON, reading(20.0), mark("again")], [(1, "investigate", ""), (1, "sound", "")]),
        ([OFF], []),
        ([reading(5.1)], []),
        ([mark("finish")], []),
        ([mark("start", PLAN.named("summer").to_text())], []),
    ],
)
def test_what_does_not_count_any_more_is_told(then: list[Event], expected: list[tuple[int, str, str]]) -> None:
    procedure = started()
    feed(procedure, ON, reading(5.0))
    assert words(feed(procedure, *then)) == expected


def test_a_test_that_is_gone_on_with_still_knows_its_verdicts() -> None:
    whole, happened = started(), list[Event]()
    course = (
        mark("start", PLAN.named("summer").to_text()),
        ON,
        reading(5.0),
        OFF,
        ON,
        reading(20.0),
        TAP,
        reading(12.5),
    )
    for event in course:
        happened += whole.feed(event)
    fresh = Procedure(PLAN)
    fresh.resume([event_from(kind_of(each), plain(each)) for each in happened if kind_of(each) in FOLLOWED_KINDS])
    assert fresh.verdicts(0, 0.0) == whole.verdicts(0, 0.0)
    assert words(fresh.verdicts(0, 0.0)) == [(1, "sound", ""), (3, "investigate", "watch")]  # type: ignore[arg-type]
