"""What is heard over the broker is told in the words that the daemon itself uses."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest

from daq.records import (
    AirChange,
    AirState,
    CylinderDone,
    CylinderJudged,
    Event,
    Fault,
    LinkChange,
    Marked,
    Session,
    StableReading,
    SupplyChange,
    SupplyState,
    TestDone,
)
from daq.sinks.payloads import Stamp, event_body, session_body
from daq.sinks.payloads.heard import MOST_CYLINDERS, event_of, numbers
from daq.sinks.terminal.sentences import sentence
from daq.units import PressureUnit
from tests.suites.deliveries import every_event

PSI = PressureUnit.PSI
OTHERS = (
    Fault(1, 16.0, "hose off", "the cylinder side holds", "Nothing.", over=True),
    SupplyChange(1, 1.0, SupplyState.LOST, 500e3, 551.6e3, "droop"),
    AirChange(1, 2.0, AirState.OFF, 0.0),
    Marked(1, 3.0, "start", "{}", "operator"),
    TestDone(1, 21.0, "test-four", (), "spring", (2, 3), complete=False),
)


def told(event: Event) -> tuple[str, dict[str, Any]]:
    if isinstance(event, Session):
        return "session", json.loads(session_body(event, Stamp("garage", "b", 1, 0.0, event.t_s, event.segment)))
    rendered = event_body(event, bench="garage", boot="b", seq=1, utc_s=0.0, unit=PSI)
    assert rendered is not None
    return rendered[0], json.loads(rendered[1])


@pytest.mark.parametrize("event", [*every_event(), *OTHERS], ids=lambda event: type(event).__name__)
def test_an_event_that_is_heard_is_said_in_the_same_words(event: Event) -> None:
    heard = event_of(*told(event))
    assert type(heard) is type(event)
    expected = sentence(event, PSI)
    if isinstance(event, LinkChange) and event.up:  # the message does not tell its converter
        expected = "Board on the line: Garage Sketch 0001 1.0. opened"
    assert heard is not None and sentence(heard, PSI) == expected


def test_a_session_comes_back_whole() -> None:
    session = Session(1, 2.0, "four", 3, "settle", 4, "spring", (1, 2), (5,), (1, 3, 4, 5, 2), can_undo=False)
    assert event_of(*told(session)) == session
    name, message = told(session)
    older = {key: value for key, value in message.items() if key not in ("order", "can_undo")}
    assert event_of(name, older) == replace(session, order=(), can_undo=True)


def test_a_verdict_comes_back_whole() -> None:
    judged = next(event for event in every_event() if isinstance(event, CylinderJudged))
    for event in (judged, replace(judged, after_tap=None), replace(judged, as_found=None, after_tap=None)):
        name, message = told(event)
        assert event_of(f"{name}/2", message) == event
    assert told(judged)[1]["verdict"] == "sound" and told(replace(judged, after_tap=None))[1]["verdict"] == "watch"
    nothing = told(replace(judged, as_found=None, after_tap=None))[1]
    assert nothing["verdict"] is nothing["probability"] is nothing["as_found_loss_pct"] is None


def test_what_is_not_told_is_not_known() -> None:
    done = next(event for event in every_event() if isinstance(event, CylinderDone))
    heard = event_of(*told(done))
    assert isinstance(heard, CylinderDone)
    assert (heard.as_found.loss_at_set_pct, heard.as_found.u_loss_pct) == (12.4, 0.4)
    assert math.isnan(heard.as_found.flow_kg_s)
    reading = event_of(*told(done.as_found))
    assert isinstance(reading, StableReading) and reading.degrees_of_freedom == math.inf


def broken() -> list[dict[str, Any]]:
    """Each message with each of its fields taken away or made something else."""
    odd = (None, "x", [], {}, True, -1, 10**400, math.nan, math.inf)
    found: list[dict[str, Any]] = []
    for event in every_event():
        name, message = told(event)
        for field in message:
            rest = {key: value for key, value in message.items() if key != field}
            found += [{"name": name, **rest}, *({"name": name, **message, field: value} for value in odd)]
    return found


def test_what_is_broken_is_no_event_or_one_that_can_be_said() -> None:
    for message in broken():
        name = message.pop("name")
        event = event_of(name, message)
        assert event is None or isinstance(sentence(event, PSI), str | None)


@pytest.mark.parametrize("message", [{}, {"kind": []}, {"kind": "later-invention", "mono_s": 1.0, "segment": 1}])
def test_what_is_unknown_is_no_event(message: dict[str, Any]) -> None:
    assert [event_of(name, message) for name in ("event", "reading", "session", "live", "")] == [None] * 5


def test_lists_of_cylinders_are_short() -> None:
    assert numbers("1-3-4-2", "-") == (1, 3, 4, 2)
    assert numbers(None) == numbers("") == ()
    for text in ("1 x", "0", "-1", "1 " * (MOST_CYLINDERS + 1)):
        with pytest.raises(ValueError):
            numbers(text)
