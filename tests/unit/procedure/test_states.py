"""The state table: one walk through a test, and each way an operator can steer it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.procedure.course import Course
from daq.procedure.states import TABLE, Phase, Trigger, meaningful, meaningless
from daq.records import (
    AirChange,
    AirState,
    Cue,
    CylinderDone,
    Event,
    Fault,
    Finding,
    Marked,
    Place,
    Session,
    StableReading,
    Strength,
    SupplyChange,
    SupplyState,
    TakenBack,
    Tap,
    TapEffect,
    TapVerdict,
    TestDone,
    TestStarted,
    Withdrawn,
)
from daq.sinks.event_json import FOLLOWED_KINDS, event_from, kind_of, plain

ON = AirChange(1, 1.0, AirState.ON, 6e5)
OFF = AirChange(1, 9.0, AirState.OFF, 0.0)
HELD = SupplyChange(1, 0.5, SupplyState.HELD, 6.9e5, 6.9e5, "in band and steady")
CRANK = Fault(1, 6.0, "crank-moved", "it fell and stays", "Vent the air.")
CRANK_BACK = Fault(1, 7.0, "crank-moved", "it is back", "", over=True)
PLAN = TestPlan("2026-four", EngineOrder("invented four", (1, 3, 4, 2)), (180.0,) * 4, acknowledged="kim")
TAP = Tap(1, 5.0, 4.0, 5e4, 1.0)


def reading(loss_pct: float) -> StableReading:
    return StableReading(1, 3.0, 1.5, 6.9e5, 6e5, loss_pct, 0.5, loss_pct, loss_pct, 0.6, 1e-6, 1e-3, 1e-3, 1e-3, "c")


def mark(kind: str, text: str = "") -> Marked:
    return Marked(1, 2.0, kind, text, "operator")


def feed(procedure: Procedure, *events: Event) -> list[Event]:
    return [out for event in events for out in procedure.feed(event)]


@pytest.fixture
def procedure() -> Procedure:
    return Procedure(EngineOrder("invented four", (1, 3, 4, 2)))


def test_a_cylinder_from_air_to_vent(procedure: Procedure) -> None:
    events = feed(procedure, HELD, ON, reading(12.0), TAP, TAP, reading(7.0), OFF)
    assert [e.phase for e in events if isinstance(e, Session)] == [
        "settle", "as-found", "resettle", "after-tap", "wait-air",
    ]  # fmt: skip
    (done,) = (e for e in events if isinstance(e, CylinderDone))
    assert (done.cylinder, done.as_found.loss_pct, done.taps) == (1, 12.0, 2)
    assert done.after_tap is not None and done.after_tap.loss_pct == 7.0
    assert procedure.cylinder == 3


def test_readings_are_labelled_with_cylinder_and_phase(procedure: Procedure) -> None:
    events = feed(procedure, reading(50.0), ON, reading(12.0), TAP, reading(7.0))
    found = [(e.cylinder, e.phase) for e in events if isinstance(e, StableReading)]
    assert found == [(None, ""), (1, "as-found"), (1, "after-tap")]


def test_the_first_reading_stays_as_found_and_the_newest_after_taps_counts(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(12.0), reading(11.0), TAP, reading(8.0), TAP, reading(6.0), reading(6.1), OFF)
    (done,) = (e for e in events if isinstance(e, CylinderDone))
    assert done.as_found.loss_pct == 12.0
    assert done.after_tap is not None and done.after_tap.loss_pct == 6.1


def test_the_whole_order_ends_the_test(procedure: Procedure) -> None:
    events = [e for loss in (5.0, 6.0, 7.0, 8.0) for e in feed(procedure, ON, reading(loss), OFF)]
    (end,) = (e for e in events if isinstance(e, TestDone))
    assert [(c.cylinder, c.as_found.loss_pct) for c in end.cylinders] == [(1, 5.0), (3, 6.0), (4, 7.0), (2, 8.0)]
    assert (procedure.phase, procedure.cylinder) == (Phase.DONE, None)
    assert feed(procedure, ON, reading(1.0)) == [ON, reading(1.0)]


def test_vented_before_anything_was_stable_keeps_the_cylinder(procedure: Procedure) -> None:
    events = feed(procedure, ON, OFF)
    assert not [e for e in events if isinstance(e, CylinderDone)]
    assert procedure.cylinder == 1


def test_each_series_of_taps_has_its_effect(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(12.0), TAP, TAP, reading(8.0), reading(8.1), TAP, reading(8.2))
    effects = [e for e in events if isinstance(e, TapEffect)]
    assert [(e.taps, e.before_pct, e.after_pct, e.verdict) for e in effects] == [
        (2, 12.0, 8.0, TapVerdict.IMPROVED),
        (1, 8.1, 8.2, TapVerdict.NO_CHANGE),
    ]
    assert all(e.cylinder == 1 for e in effects)


def test_air_that_goes_before_anything_is_stable_is_told(procedure: Procedure) -> None:
    assert [e.fault for e in feed(procedure, ON, OFF) if isinstance(e, Fault)] == ["air-lost"]
    assert not [e for e in feed(procedure, ON, reading(9.0), OFF) if isinstance(e, Fault)]


def test_a_tap_before_the_capture_is_not_counted(procedure: Procedure) -> None:
    events = feed(procedure, ON, TAP, reading(9.0), OFF)
    (done,) = (e for e in events if isinstance(e, CylinderDone))
    assert (done.taps, done.after_tap) == (0, None)


def test_next_finishes_a_captured_cylinder_and_passes_over_another(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(9.0), mark("next"), OFF)
    assert [e.cylinder for e in events if isinstance(e, CylinderDone)] == [1]
    assert procedure.cylinder == 3
    feed(procedure, mark("next"))
    assert procedure.cylinder == 4


def test_skip_leaves_no_result(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(9.0), mark("skip"))
    assert not [e for e in events if isinstance(e, CylinderDone)]
    assert procedure.cylinder == 3


def test_again_with_air_on_measures_this_cylinder_anew(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(9.0), mark("again"), reading(5.0), OFF)
    (done,) = (e for e in events if isinstance(e, CylinderDone))
    assert (done.cylinder, done.as_found.loss_pct) == (1, 5.0)


def test_again_between_cylinders_takes_the_last_result_back(procedure: Procedure) -> None:
    feed(procedure, ON, reading(9.0), OFF, mark("again"))
    assert (procedure.cylinder, procedure.phase) == (1, Phase.WAIT_AIR)
    events = [e for loss in (5.0, 6.0, 7.0, 8.0) for e in feed(procedure, ON, reading(loss), OFF)]
    (end,) = (e for e in events if isinstance(e, TestDone))
    assert [c.as_found.loss_pct for c in end.cylinders] == [5.0, 6.0, 7.0, 8.0]


def test_again_after_the_end_goes_back_to_the_last_cylinder(procedure: Procedure) -> None:
    for _ in range(4):
        feed(procedure, ON, reading(5.0), OFF)
    feed(procedure, mark("again"))
    assert (procedure.cylinder, procedure.phase) == (2, Phase.WAIT_AIR)


def test_a_cylinder_named_by_the_operator_keeps_what_was_captured(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(9.0), mark("cylinder", "4"), OFF)
    (done,) = (e for e in events if isinstance(e, CylinderDone))
    assert (done.cylinder, done.as_found.cylinder) == (4, 4)
    assert procedure.cylinder == 2


@pytest.mark.parametrize("text", ["0", "5", "", "x", "-1", "3.0"])
def test_a_cylinder_that_the_engine_has_not_changes_nothing(procedure: Procedure, text: str) -> None:
    feed(procedure, mark("cylinder", text))
    assert (procedure.cylinder, procedure.phase) == (1, Phase.WAIT_AIR)
    for _ in range(4):
        feed(procedure, ON, reading(5.0), OFF)
    feed(procedure, mark("cylinder", text))
    assert (procedure.cylinder, procedure.phase) == (None, Phase.DONE)


def test_another_test_begins_without_the_results_of_the_last(procedure: Procedure) -> None:
    for loss in (5.0, 6.0, 7.0, 8.0):
        feed(procedure, ON, reading(loss), OFF)
    events = feed(procedure, mark("cylinder", "1"), ON, reading(9.0), OFF, mark("skip"), mark("skip"), mark("skip"))
    (end,) = (e for e in events if isinstance(e, TestDone))
    assert [(c.cylinder, c.as_found.loss_pct) for c in end.cylinders] == [(1, 9.0)]


def test_a_cylinder_that_is_skipped_the_second_time_has_no_result(procedure: Procedure) -> None:
    feed(procedure, ON, reading(5.0), OFF, mark("cylinder", "1"), mark("skip"))
    events = feed(procedure, mark("skip"), mark("skip"), mark("skip"))
    assert [e.cylinders for e in events if isinstance(e, TestDone)] == [()]


def test_air_that_is_told_again_is_no_new_air(procedure: Procedure) -> None:
    """The board restarts under air after the operator has moved on: the next cylinder is not on the hose yet."""
    feed(procedure, ON, reading(5.0), mark("next"), ON, reading(5.0))
    assert (procedure.phase, procedure.cylinder) == (Phase.WAIT_AIR, 3)
    feed(procedure, OFF, HELD, ON)
    assert (procedure.phase, procedure.cylinder) == (Phase.SETTLE, 3)


def test_a_vent_that_was_seen_only_after_a_restart_ends_the_cylinder(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(5.0), OFF, OFF)
    assert [e.cylinder for e in events if isinstance(e, CylinderDone)] == [1]
    assert procedure.cylinder == 3


def test_other_events_pass_through_unchanged(procedure: Procedure) -> None:
    change = SupplyChange(1, 1.0, SupplyState.LOST, 5e5, 6.9e5, "droop")
    assert procedure.feed(change) == [change]
    assert procedure.feed(mark("note", "hiss at the dipstick")) == [mark("note", "hiss at the dipstick")]


def test_every_row_of_the_table_is_reached_and_lands_where_it_says() -> None:
    """Each row is reached from its phase, and lands in the phase that it names, or in DONE after the last cylinder, or
    where a pause began."""
    single = TestPlan("one", EngineOrder("invented single", (1,)), explicit=False)
    events: dict[Trigger, list[Event]] = {
        Trigger.AIR_ON: [HELD, ON], Trigger.AIR_ON_LOW: [ON], Trigger.SUPPLY_HELD: [HELD], Trigger.AIR_OFF: [OFF],
        Trigger.STABLE: [reading(5.0)], Trigger.TAP: [TAP], Trigger.CRANK_MOVED: [CRANK],
        Trigger.CRANK_BACK: [CRANK_BACK], Trigger.CYLINDER: [mark("cylinder", "1")],
        Trigger.HEARD: [mark("heard", "exhaust")], Trigger.ROCKED: [mark("rocked", "1: same")],
        Trigger.START: [mark("start", PLAN.named("two").to_text())],
    }  # fmt: skip
    captured = [HELD, ON, reading(5.0)]
    road: dict[Phase, list[Event]] = {
        Phase.CAUTIONS: [mark("start", replace(single, test="asked", acknowledged="").to_text())],
        Phase.WAIT_AIR: [], Phase.PRESSURISE: [ON], Phase.SETTLE: [HELD, ON], Phase.AS_FOUND: captured,
        Phase.RESETTLE: [*captured, TAP], Phase.AFTER_TAP: [*captured, TAP, reading(5.0)],
        Phase.CRANK_MOVED: [*captured, CRANK], Phase.PAUSED: [mark("pause")], Phase.DONE: [mark("skip")],
    }  # fmt: skip
    elsewhere = {(Phase.CAUTIONS, Trigger.ACKNOWLEDGE), (Phase.PAUSED, Trigger.GO_ON), (Phase.DONE, Trigger.UNDO)}
    for (phase, trigger), (following, _) in TABLE.items():
        procedure = Procedure(single)
        feed(procedure, *road[phase])
        assert procedure.phase is phase
        feed(procedure, *events.get(trigger, [mark(trigger.value)]))
        may = {following, Phase.DONE, *({Phase.WAIT_AIR} if (phase, trigger) in elsewhere else ())}
        may |= {Phase.WAIT_AIR} if trigger is Trigger.START else set()
        may |= {Phase.AS_FOUND} if trigger is Trigger.CRANK_BACK else set()
        assert procedure.phase in may, (phase, trigger)


def test_each_deed_of_the_table_stands_in_one_place() -> None:
    deeds = {deed for _, deed in TABLE.values()}
    assert all(hasattr(Procedure, f"_{deed}") != hasattr(Course, deed) for deed in deeds)


# ---- a test that was started


def started(plan: TestPlan = PLAN) -> Procedure:
    procedure = Procedure(EngineOrder("another", (1, 2)))
    feed(procedure, mark("start", plan.to_text()))
    return procedure


def kinds(events: list[Event], kind: type[Event]) -> list[Event]:
    return [event for event in events if isinstance(event, kind)]


def test_a_test_waits_for_the_cautions_to_be_acknowledged() -> None:
    procedure = started(replace(PLAN, acknowledged=""))
    assert procedure.phase is Phase.CAUTIONS
    events = feed(procedure, ON)
    assert [cue.cue for cue in kinds(events, Cue)] == ["air-too-soon"]
    assert procedure.phase is Phase.CAUTIONS
    feed(procedure, mark("acknowledge"))
    assert (procedure.phase, procedure.cylinder) == (Phase.PRESSURISE, 1)


def test_a_plan_that_cannot_be_read_starts_nothing(procedure: Procedure) -> None:
    broken = mark("start", "{}")
    assert procedure.feed(broken) == [broken]
    assert procedure.phase is Phase.WAIT_AIR


def test_a_new_test_ends_the_one_before_as_far_as_it_came() -> None:
    procedure = started()
    feed(procedure, HELD, ON, reading(5.0))
    events = feed(procedure, mark("start", PLAN.named("2026-four-b").to_text()))
    (done,) = kinds(events, TestDone)
    assert isinstance(done, TestDone) and (done.test, done.complete) == ("2026-four", False)
    assert [result.cylinder for result in done.cylinders] == [1]
    assert [event.test for event in kinds(events, TestStarted)] == ["2026-four-b"]
    assert procedure.cylinder == 1


def test_a_test_that_begins_by_itself_is_told_before_its_first_air(procedure: Procedure) -> None:
    events = procedure.feed(ON)
    assert isinstance(events[0], TestStarted) and events[0].test == "auto-1"
    assert not kinds(feed(procedure, OFF, ON), TestStarted)


@pytest.mark.parametrize("kind", ["skip", "heard", "rocked", "acknowledge", "pause", "cylinder", "finish"])
def test_a_test_that_begins_by_itself_is_told_before_a_mark_in_it(procedure: Procedure, kind: str) -> None:
    """What was heard or skipped before the first air belongs to it."""
    events = procedure.feed(mark(kind, {"heard": "exhaust", "rocked": "1: same", "cylinder": "3"}.get(kind, "")))
    told = [type(event) for event in events if not isinstance(event, Cue)]
    assert told[:2] == [TestStarted, Marked]
    assert not kinds(feed(procedure, HELD, ON), TestStarted)


def test_a_cylinder_named_after_the_end_is_of_the_test_that_begins_with_it(procedure: Procedure) -> None:
    feed(procedure, ON, mark("finish"))
    events = procedure.feed(mark("cylinder", "3"))
    assert isinstance(events[0], TestStarted) and events[0].test == "auto-2"
    fresh = Procedure(EngineOrder("another", (1, 2)))
    fresh.resume([*kinds(events, TestStarted), *kinds(events, Marked)])
    assert (fresh.cylinder, fresh.session(1, 0.0).test) == (3, "auto-2")


def test_after_the_end_a_cylinder_that_only_the_last_engine_had_changes_nothing() -> None:
    procedure = Procedure(EngineOrder("single", (1,)))
    feed(procedure, mark("start", PLAN.to_text()), mark("finish"))
    assert [type(event) for event in procedure.feed(mark("cylinder", "4"))] == [Marked]
    assert (procedure.phase, procedure.cylinder) == (Phase.DONE, None)


def test_a_cylinder_done_once_more_by_its_number_has_one_result_that_counts(procedure: Procedure) -> None:
    feed(procedure, ON, reading(5.0), OFF, mark("cylinder", "1"))
    events = feed(procedure, ON, reading(6.0), OFF)
    (withdrawn,), (done,) = kinds(events, Withdrawn), kinds(events, CylinderDone)
    assert isinstance(withdrawn, Withdrawn) and (withdrawn.what, withdrawn.number) == (TakenBack.RESULT, 1)
    assert isinstance(done, CylinderDone) and (done.cylinder, done.attempt, done.as_found.loss_pct) == (1, 2, 6.0)
    assert procedure.session(1, 0.0).done == (1,)


def test_a_crank_that_moved_makes_the_cylinder_be_done_again() -> None:
    procedure = started()
    events = feed(procedure, HELD, ON, reading(5.0), CRANK, reading(60.0), OFF)
    assert not kinds(events, CylinderDone)
    (withdrawn,) = kinds(events, Withdrawn)
    assert isinstance(withdrawn, Withdrawn) and (withdrawn.what, withdrawn.cylinder) == (TakenBack.ATTEMPT, 1)
    assert (procedure.phase, procedure.cylinder) == (Phase.WAIT_AIR, 1)
    (done,) = kinds(feed(procedure, ON, reading(5.1), OFF), CylinderDone)
    assert isinstance(done, CylinderDone) and (done.attempt, done.as_found.loss_pct) == (2, 5.1)


def test_what_came_back_by_itself_was_no_crank() -> None:
    procedure = started()
    events = feed(procedure, HELD, ON, reading(5.0), CRANK, CRANK_BACK, OFF)
    assert [event.cylinder for event in kinds(events, CylinderDone)] == [1]


def test_a_pause_holds_everything_and_goes_on_where_it_began() -> None:
    procedure = started()
    feed(procedure, HELD, ON, mark("pause"), reading(5.0), TAP)
    assert procedure.phase is Phase.PAUSED
    feed(procedure, mark("go-on"))
    assert procedure.phase is Phase.SETTLE
    feed(procedure, reading(5.0), mark("pause"), OFF)
    events = feed(procedure, mark("go-on"))
    assert [event.cylinder for event in kinds(events, CylinderDone)] == [1], "vented in the pause"
    assert procedure.cylinder == 3


def test_undo_takes_back_the_newest_result_skip_or_finding() -> None:
    procedure = started()
    feed(procedure, HELD, ON, reading(5.0), OFF, mark("skip"), mark("heard", "1: exhaust faint"))
    assert procedure.cylinder == 4
    assert [event.what for event in kinds(feed(procedure, mark("undo")), Withdrawn)] == [TakenBack.FINDING]
    assert [event.what for event in kinds(feed(procedure, mark("undo")), Withdrawn)] == [TakenBack.SKIP]
    assert procedure.cylinder == 3
    assert [event.what for event in kinds(feed(procedure, mark("undo")), Withdrawn)] == [TakenBack.RESULT]
    assert procedure.cylinder == 1
    assert not kinds(feed(procedure, mark("undo")), Withdrawn)


def test_cylinders_that_were_passed_over_come_at_the_end() -> None:
    procedure = started()
    feed(procedure, HELD, mark("next"))
    for cylinder in (3, 4, 2, 1):
        assert procedure.cylinder == cylinder
        events = feed(procedure, ON, reading(5.0), OFF)
    (done,) = kinds(events, TestDone)
    assert isinstance(done, TestDone) and done.complete


def test_finish_ends_an_incomplete_test_and_keeps_what_was_captured() -> None:
    procedure = started()
    events = feed(procedure, HELD, ON, reading(5.0), mark("finish"))
    (done,) = kinds(events, TestDone)
    assert isinstance(done, TestDone) and not done.complete
    assert [result.cylinder for result in done.cylinders] == [1]


def test_what_was_heard_is_of_the_cylinder_under_air_or_else_the_last() -> None:
    procedure = started()
    events = feed(procedure, mark("heard", "coolant"), HELD, ON, mark("heard", "exhaust clear"), reading(5.0), OFF)
    events += feed(procedure, mark("heard", "next-cylinder 3 faint at the plug"), mark("heard", "4: dipstick"))
    events += feed(procedure, mark("heard", "9: exhaust"), mark("heard", "nowhere"))
    events += feed(procedure, mark("heard", "next-cylinder 9"))
    found = [event for event in events if isinstance(event, Finding)]
    assert [(f.cylinder, f.place, f.strength, f.neighbour, f.note) for f in found] == [
        (1, Place.COOLANT, Strength.CLEAR, None, ""),
        (1, Place.EXHAUST, Strength.CLEAR, None, ""),
        (1, Place.NEXT_CYLINDER, Strength.FAINT, 3, "at the plug"),
        (4, Place.CRANKCASE, Strength.CLEAR, None, ""),
    ]


WALK = [
    mark("start", PLAN.to_text()), HELD, ON, reading(12.0), TAP, reading(7.0), OFF, ON, reading(5.0), mark("again"),
    reading(5.2), mark("heard", "exhaust"), CRANK, OFF, ON, reading(5.3), OFF, mark("skip"), mark("pause"),
    mark("go-on"), ON, reading(6.0), TAP, mark("undo"), OFF,
]  # fmt: skip


@pytest.mark.parametrize("broken_at", range(1, len(WALK)))
def test_a_test_is_gone_on_with_from_where_it_stood(broken_at: int) -> None:
    """As after kill -9 at any moment: what comes after is what would have come."""
    whole = Procedure(EngineOrder("another", (1, 2)))
    happened = feed(whole, *WALK[:broken_at])
    fresh = Procedure(EngineOrder("another", (1, 2)))
    fresh.resume([event_from(kind_of(e), plain(e)) for e in happened if kind_of(e) in FOLLOWED_KINDS])
    assert fresh.session(1, 0.0) == whole.session(1, 0.0)
    rest = WALK[broken_at:]
    assert [plain(e) for e in feed(fresh, *rest)] == [plain(e) for e in feed(whole, *rest)]


def test_marks_that_mean_nothing_now_are_named() -> None:
    assert meaningless("done", "pause") == "`pause` means nothing now: the test is done."
    assert meaningless("settle", "pause") == ""
    assert meaningless("settle", "note") == ""


def test_undo_is_offered_where_there_is_something_to_take_back() -> None:
    procedure = started()
    sessions = kinds(feed(procedure, HELD, ON, mark("heard", "exhaust"), mark("undo"), reading(5.0), OFF, ON), Session)
    assert [(s.phase, s.can_undo) for s in sessions if isinstance(s, Session)] == [
        ("settle", False), ("settle", True), ("settle", False), ("as-found", False), ("wait-air", True),
        ("settle", False),
    ]  # fmt: skip


def test_why_there_is_nothing_to_undo_is_said() -> None:
    nothing = "`undo` means nothing now: no result, skip or finding of this test is left to be taken back."
    assert meaningless("wait-air", "undo", can_undo=False) == meaningless("done", "undo", can_undo=False) == nothing
    assert "only a finding can be taken back" in meaningless("as-found", "undo", can_undo=False)
    assert meaningless("paused", "undo", can_undo=False) == "`undo` means nothing now: the test is paused."
    assert meaningless("wait-air", "undo") == meaningless("wait-air", "next", can_undo=False) == ""
    assert [kind for kind in meaningful("done") if kind not in meaningful("done", can_undo=False)] == ["undo"]
    assert set(meaningful("paused")) == {"start", "heard", "rocked", "go-on", "finish", "note"}


def test_another_loss_without_a_tap_is_told_and_changes_nothing() -> None:
    """As when the hose has gone to the next cylinder while nobody looked."""
    procedure = started()
    events = feed(procedure, HELD, ON, reading(5.0), reading(5.9), reading(17.5), OFF)
    faults = [event for event in events if isinstance(event, Fault)]
    assert [fault.fault for fault in faults] == ["reading-changed"]
    assert "5.0 % were captured, 17.5 % are read now" in faults[0].seen
    (done,) = kinds(events, CylinderDone)
    assert isinstance(done, CylinderDone) and done.as_found.loss_pct == 5.0


def test_a_hose_that_went_on_unseen_can_be_put_right() -> None:
    procedure = started()
    events = feed(
        procedure, HELD, ON, reading(5.0), reading(17.5), mark("again"), mark("cylinder", "3"), reading(17.4), OFF
    )
    assert [event.cylinder for event in kinds(events, CylinderDone)] == [3]
    assert [(event.what, event.cylinder) for event in kinds(events, Withdrawn)] == [(TakenBack.ATTEMPT, 1)]
    assert procedure.cylinder == 4
