"""The sheet of a test: its cylinders in their order, and how each stands."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.procedure.states import Phase
from daq.procedure.verdict import COMMON_PRACTICE, Limits
from daq.records import (
    AirChange,
    AirState,
    CylinderDone,
    CylinderJudged,
    Event,
    Finding,
    Judged,
    Marked,
    Place,
    Session,
    StableReading,
    Strength,
    SupplyChange,
    SupplyState,
    TakenBack,
    Tap,
    TestStarted,
    Withdrawn,
)
from daq.sinks.page.sheet import Sheet
from tests.suites.deliveries import stable

PLAN = TestPlan("t-1", EngineOrder("four", (1, 3, 4, 2)), acknowledged="kim")


def sheet(*events: Event, plan: TestPlan = PLAN) -> dict[str, Any]:
    made = Sheet(plan, COMMON_PRACTICE)
    for event in events:
        made.take(event)
    content: dict[str, Any] = json.loads(made.body())
    return content


def row(content: dict[str, Any], cylinder: int) -> dict[str, Any]:
    return next(each for each in content["rows"] if each["cylinder"] == cylinder)


def reading(loss_pct: float, u_pct: float = 0.5, phase: str = Phase.AS_FOUND, cylinder: int = 1) -> StableReading:
    return replace(stable(cylinder=cylinder), loss_at_set_pct=loss_pct, u_loss_pct=u_pct, phase=phase)


TAP, OFF = Tap(1, 13.0, 12.5, 1e5, 0.5), AirChange(1, 18.0, AirState.OFF, 0.0)
WHOLE = (reading(17.5), TAP, TAP, replace(reading(6.4), t_s=16.0), OFF)


def a_cylinder(*seen: Event, limits: Limits = COMMON_PRACTICE) -> list[Event]:
    """What a test makes of what is seen after its first air; with nothing else that of a whole cylinder."""
    procedure, out = Procedure(PLAN, limits), []
    begun: list[Event] = [
        Marked(1, 0.0, "start", PLAN.to_text(), "operator"),
        SupplyChange(1, 1.0, SupplyState.HELD, 690e3, 690e3, ""),
        AirChange(1, 2.0, AirState.ON, 400e3),
    ]
    for event in [*begun, *(seen or WHOLE)]:
        out += procedure.feed(event)
    return out


def test_the_cylinders_stand_in_the_order_of_the_test() -> None:
    assert [each["cylinder"] for each in sheet()["rows"]] == [1, 3, 4, 2]


def test_a_cylinder_is_followed_from_air_to_vent() -> None:
    done = row(sheet(*a_cylinder()), 1)
    assert done["as_found"] == [17.5, 1.0] and done["after"] == [6.4, 1.0]
    assert done["taps"] == 2 and done["effect"].startswith("better, -11.1 points")
    assert done["verdict"] == "sound" and done["state"] == "done"
    assert row(sheet(*a_cylinder()), 3)["state"] == "now"


def test_a_run_that_was_broken_off_is_recalled_as_it_was() -> None:
    strict = replace(COMMON_PRACTICE, sound_to=replace(COMMON_PRACTICE.sound_to, loss_pct=3.0))
    whole, recalled = Sheet(PLAN, strict), Sheet(TestPlan("other", PLAN.engine), strict)
    happened = a_cylinder(limits=strict)
    for event in happened:
        whole.take(event)
    followed = [each for each in happened if not isinstance(each, Session)]
    started = next(each for each in followed if isinstance(each, TestStarted))
    kept = [each for each in followed if isinstance(each, AirChange | SupplyChange | StableReading | Tap)]
    recalled.recall([AirChange(1, 0.0, AirState.OFF, 0.0), started, *kept])
    assert json.loads(recalled.body()) == json.loads(whole.body())
    assert row(json.loads(recalled.body()), 1)["verdict"] == "watch"


def test_what_is_taken_back_does_not_show() -> None:
    back = row(sheet(*a_cylinder(*WHOLE, Marked(1, 20.0, "undo", "", "operator"))), 1)
    assert (back["as_found"], back["after"], back["taps"], back["state"]) == (None, None, 0, "now")


def test_a_reading_that_is_told_again_does_not_take_the_place_of_what_counts() -> None:
    """As found is what was found first, after taps what was read last."""
    events = a_cylinder(reading(17.5), reading(17.9), TAP, reading(6.4), reading(6.6), OFF)
    done = next(event for event in events if isinstance(event, CylinderDone))
    assert (done.as_found.loss_at_set_pct, done.after_tap and done.after_tap.loss_at_set_pct) == (17.5, 6.6)
    for seen in (events[: events.index(done)], events):
        shown = row(sheet(*seen), 1)
        assert (shown["as_found"], shown["after"], shown["taps"]) == ([17.5, 1.0], [6.6, 1.0], 1)
        assert shown["effect"] == "better, -10.9 points"


def test_the_cylinder_is_the_one_that_it_was_named_to_be() -> None:
    content = sheet(*a_cylinder(reading(17.5), Marked(1, 12.5, "cylinder", "4", "operator")))
    assert (row(content, 1)["as_found"], row(content, 4)["as_found"]) == (None, [17.5, 1.0])


def test_what_taps_did_between_two_captures_is_not_said_of_all_of_them() -> None:
    shown = row(sheet(*a_cylinder(reading(17.5), TAP, reading(6.4), TAP, TAP, reading(6.4))), 1)
    assert (shown["taps"], shown["effect"]) == (3, "-11.1 points")


def test_a_cylinder_that_is_tested_again_begins_without_its_taps() -> None:
    again = Marked(1, 20.0, "cylinder", "1", "operator"), AirChange(1, 21.0, AirState.ON, 4e5)
    shown = row(sheet(*a_cylinder(*WHOLE, *again, reading(9.0))), 1)
    assert (shown["as_found"], shown["after"], shown["taps"], shown["effect"]) == ([9.0, 1.0], None, 0, "")
    back = row(sheet(*a_cylinder(*WHOLE, *again, reading(9.0), Marked(1, 22.0, "again", "", "operator"))), 1)
    assert (back["as_found"], back["after"], back["taps"]) == ([17.5, 1.0], [6.4, 1.0], 2)


def test_the_verdict_is_the_one_that_was_told_of_the_reading_that_counts() -> None:
    watch, sound = Judged(12.5, 1.0, "watch", 0.97), Judged(6.0, 1.0, "sound", 0.99)
    judged = CylinderJudged(1, 3.0, "t-1", 1, watch, None, "common practice", 10.0, 15.0)
    after = replace(judged, after_tap=sound)
    gone = replace(judged, as_found=None)
    found = [
        row(sheet(reading(50.0), *events), 1)["verdict"] for events in ((), (judged,), (judged, after), (after, gone))
    ]
    assert found == ["", "watch", "sound", ""]
    other = TestPlan("t-2", PLAN.engine)
    assert row(sheet(judged, TestStarted(1, 30.0, "t-2", "four", other.to_text())), 1)["verdict"] == ""


def test_what_was_heard_stands_beside_its_cylinder_until_it_is_taken_back() -> None:
    heard = Finding(1, 5.0, 1, 3, Place.NEXT_CYLINDER, Strength.FAINT, 4)
    assert row(sheet(heard), 3)["heard"] == ["next cylinder 4, faint"]
    assert row(sheet(heard, Withdrawn(1, 6.0, TakenBack.FINDING, 3, 1, "")), 3)["heard"] == []


def test_a_new_test_begins_with_an_empty_sheet() -> None:
    other = TestPlan("t-2", EngineOrder("twin", (1, 2)))
    content = sheet(*a_cylinder(), TestStarted(1, 30.0, "t-2", "twin", other.to_text()))
    assert (content["test"], content["engine"], len(content["rows"])) == ("t-2", "twin", 2)
    assert all(each["as_found"] is None for each in content["rows"])


def test_cautions_stand_until_they_are_acknowledged() -> None:
    waiting = Session(1, 0.0, "four", 1, Phase.CAUTIONS, 3)
    certified = replace(PLAN, about={"profile": {"certified": True}})
    assert sheet(replace(waiting, phase=Phase.WAIT_AIR))["cautions"] == []
    assert len(sheet(waiting, plan=certified)["cautions"]) == len(sheet(waiting)["cautions"]) + 1 > 5


def test_a_skipped_cylinder_says_so() -> None:
    assert row(sheet(Session(1, 9.0, "four", 4, Phase.WAIT_AIR, 2, skipped=(3,))), 3)["state"] == "skipped"
