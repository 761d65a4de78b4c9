"""What is told aloud, and when."""

from __future__ import annotations

from dataclasses import replace

import pytest

from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.procedure.cues import WORDS
from daq.records import (
    AirChange,
    AirState,
    Cue,
    CueLevel,
    Event,
    Fault,
    LinkChange,
    Marked,
    SoftStep,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
)

PLAN = TestPlan("t", EngineOrder("invented four", (1, 3, 4, 2)), (180.0,) * 4, acknowledged="kim", soft_step=True)
ON, OFF = AirChange(1, 1.0, AirState.ON, 6e5), AirChange(1, 9.0, AirState.OFF, 0.0)
HELD = SupplyChange(1, 0.5, SupplyState.HELD, 6.9e5, 6.9e5, "")
LOST = SupplyChange(1, 2.5, SupplyState.LOST, 5e5, 6.9e5, "droop")
TAP = Tap(1, 5.0, 4.0, 5e4, 1.0)


def reading(loss_pct: float) -> StableReading:
    return StableReading(1, 3.0, 1.5, 6.9e5, 6e5, loss_pct, 0.05, loss_pct, loss_pct, 0.6, 1e-6, 1e-3, 1e-3, 1e-3, "c")


def told(*events: Event, plan: TestPlan = PLAN) -> list[str]:
    procedure = Procedure(EngineOrder("another", (1, 2)))
    start = Marked(1, 0.0, "start", plan.to_text(), "operator")
    out = [cue for event in (start, *events) for cue in procedure.feed(event)]
    return [record.text for record in out if isinstance(record, Cue)]


def test_a_cylinder_is_told_from_the_first_word_to_the_next_cylinder() -> None:
    assert told(ON, SoftStep(1, 1.5, 1e5, 9e4), HELD, reading(6.14), TAP, reading(4.9), OFF) == [
        "Test of invented four, 4 cylinders.",
        "Cylinder 1 first. Top dead centre, tools off, connect, then air.",
        "Gently: a low pressure first.",
        "The crank holds at 14.5 psi (100 kPa). Up to the set point.",
        "Cylinder 1, 6.1 percent, stable.",
        "Tap the valves now, or vent for the next cylinder.",
        "Tap.",
        "Better by 1.2 points, 4.9 percent now.",
        "Cylinder 3 next. Turn the crank 180 degrees. Tools off, connect, air.",
    ]


def test_an_engine_without_valves_is_not_to_be_tapped() -> None:
    plan = replace(PLAN, has_valves=False)
    assert "Vent for the next cylinder." in told(HELD, ON, reading(6.0), plan=plan)


def test_the_degrees_are_told_only_from_the_cylinder_before() -> None:
    jump = Marked(1, 9.5, "cylinder", "4", "operator")
    assert told(HELD, ON, reading(6.0), OFF, jump)[-1].startswith("Cylinder 4 next. Top dead centre")


def mark(kind: str, text: str = "") -> Marked:
    return Marked(1, 4.0, kind, text, "operator")


def test_nobody_is_sent_to_the_crank_while_there_is_air() -> None:
    then = "Cylinder 3 next. Turn the crank 180 degrees. Tools off, connect, air."
    by_hand = told(HELD, ON, reading(6.0), mark("next"), OFF, replace(OFF, segment=2))
    assert by_hand[-3:] == [
        "Tap the valves now, or vent for the next cylinder.",
        "Vent the air. Then cylinder 3.",
        then,
    ]
    assert told(HELD, ON, mark("skip"), OFF)[-2:] == ["Vent the air. Then cylinder 3.", then]
    assert told(HELD, ON, reading(6.0), OFF)[-1] == then


def test_a_test_that_is_started_or_ended_under_air_asks_to_vent_it() -> None:
    assert told(HELD, ON, mark("finish"))[-2:] == ["Test ended, 0 of 4 cylinders done.", "Vent the air."]
    again = mark("start", PLAN.named("again").to_text())
    assert told(HELD, ON, again)[-1] == "Vent the air. Then cylinder 1."
    unread = mark("start", replace(PLAN.named("unread"), acknowledged="").to_text())
    assert told(HELD, ON, unread)[-1].startswith("Air is on and nobody has acknowledged")


def test_what_is_noted_tells_nothing_to_do_anew() -> None:
    heard = mark("heard", "exhaust clear")
    assert told(heard)[-1] == told(HELD, ON, reading(6.0), heard)[-1] == "Noted: cylinder 1, exhaust, clear."


def test_what_a_hand_said_is_answered() -> None:
    captured = (HELD, ON, reading(6.0))
    assert told(*captured, mark("cylinder", "4"))[-1] == told(HELD, ON, mark("cylinder", "4"))[-1]
    assert told(*captured, mark("cylinder", "4"))[-1] == "This is cylinder 4."
    assert told(*captured, mark("pause"), mark("go-on"))[-2:] == ["Paused.", "Going on."]
    assert told(*captured, mark("rocked", "1: changed"))[-1] == "Noted: rocking the crank changed cylinder 1."
    assert told(*captured, mark("rocked", "4: same"))[-1] == "Noted: rocking the crank did not change cylinder 4."
    for unread in ("9: same", "1: perhaps", ""):
        assert told(*captured, mark("rocked", unread)) == told(*captured)
    assert told(mark("finish"), mark("rocked", "1: same")) == told(mark("finish"))


def test_a_capture_is_told_once_though_its_reading_is_told_again() -> None:
    assert told(HELD, ON, reading(6.0), reading(6.3)) == told(HELD, ON, reading(6.0))


def test_danger_is_an_alarm() -> None:
    procedure = Procedure(EngineOrder("another", (1, 2)))
    events = [HELD, ON, reading(6.0), Fault(1, 6.0, "crank-moved", "it fell", "Vent the air.")]
    cues = [r for event in events for r in procedure.feed(event) if isinstance(r, Cue)]
    assert (cues[-1].text, cues[-1].level) == ("Crank moved. Vent the air.", CueLevel.ALARM)


def test_the_supply_is_told_only_while_a_reading_is_waited_for() -> None:
    assert told(HELD, LOST)[-1].startswith("Cylinder 1 first")
    assert told(HELD, ON, reading(6.0), LOST)[-1].startswith("Tap the valves")
    assert told(HELD, ON, LOST, HELD)[-2:] == ["Supply lost, 72.5 psi (500 kPa).", "Supply is back."]


def test_a_fault_is_told_with_what_to_do() -> None:
    fault = Fault(1, 6.0, "cylinder-sensor-open", "5 V", "Check its plug.")
    assert told(fault)[-1] == "Cylinder sensor open. Check its plug."
    assert told(fault, replace(fault, over=True))[-1] == "Cylinder sensor open: over."


def test_the_end_is_told() -> None:
    assert told(HELD, Marked(1, 2.0, "finish", "", "operator"))[-1] == "Test ended, 0 of 4 cylinders done."
    assert told(LinkChange(1, 3.0, False, "unplugged", None))[-1] == "The board does not answer."
    assert told(LinkChange(1, 3.0, False, "stopped", None))[-1] != "The board does not answer."


@pytest.mark.parametrize("name", WORDS)
def test_names_of_cues_are_public_words(name: str) -> None:
    assert name.replace("-", "").isalpha() and name.islower()
