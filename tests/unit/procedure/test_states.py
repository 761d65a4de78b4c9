"""The state table: one walk through a test, and each way an operator can steer it."""

from __future__ import annotations

import pytest

from daq.procedure import EngineOrder, Procedure
from daq.procedure.states import TABLE, Phase, Trigger
from daq.records import (
    AirChange,
    AirState,
    CylinderDone,
    Event,
    Fault,
    Marked,
    Session,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TapEffect,
    TapVerdict,
    TestDone,
)

ON = AirChange(1, 1.0, AirState.ON, 6e5)
OFF = AirChange(1, 9.0, AirState.OFF, 0.0)
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
    events = feed(procedure, ON, reading(12.0), TAP, TAP, reading(7.0), OFF)
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
    feed(procedure, OFF, ON)
    assert (procedure.phase, procedure.cylinder) == (Phase.SETTLE, 3)


def test_a_vent_that_was_seen_only_after_a_restart_ends_the_cylinder(procedure: Procedure) -> None:
    events = feed(procedure, ON, reading(5.0), OFF, OFF)
    assert [e.cylinder for e in events if isinstance(e, CylinderDone)] == [1]
    assert procedure.cylinder == 3


def test_other_events_pass_through_unchanged(procedure: Procedure) -> None:
    change = SupplyChange(1, 1.0, SupplyState.LOST, 5e5, 6.9e5, "droop")
    assert procedure.feed(change) == [change]
    assert procedure.feed(mark("note", "hiss at the dipstick")) == [mark("note", "hiss at the dipstick")]


def test_every_action_of_the_table_leaves_the_procedure_usable() -> None:
    """Each row of the table is reached from its phase, and lands in the phase that the row names (or DONE)."""
    events = {
        Trigger.AIR_ON: ON, Trigger.AIR_OFF: OFF, Trigger.STABLE: reading(5.0), Trigger.TAP: TAP,
        Trigger.NEXT: mark("next"), Trigger.SKIP: mark("skip"), Trigger.AGAIN: mark("again"),
        Trigger.CYLINDER: mark("cylinder", "1"),
    }  # fmt: skip
    road = {
        Phase.WAIT_AIR: [], Phase.SETTLE: [ON], Phase.AS_FOUND: [ON, reading(5.0)],
        Phase.RESETTLE: [ON, reading(5.0), TAP], Phase.AFTER_TAP: [ON, reading(5.0), TAP, reading(5.0)],
        Phase.DONE: [mark("skip")],
    }  # fmt: skip
    for (phase, trigger), (following, _) in TABLE.items():
        single = Procedure(EngineOrder("invented single", (1,)))
        feed(single, *road[phase])
        assert single.phase is phase
        feed(single, events[trigger])
        assert single.phase in (following, Phase.DONE), (phase, trigger)
