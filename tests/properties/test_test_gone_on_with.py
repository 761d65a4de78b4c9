"""A test that is broken off at any moment of any course goes on as if nothing had been, and is what it has told."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.procedure.states import meaningless
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
    TakenBack,
    Tap,
    TestDone,
    TestStarted,
    Withdrawn,
)
from daq.sinks.event_json import FOLLOWED_KINDS, event_from, kind_of, plain

FOUR = EngineOrder("invented four", (1, 3, 4, 2))
MARKS = {
    "next": [""], "skip": [""], "again": [""], "undo": [""], "pause": [""], "go-on": [""], "acknowledge": [""],
    "finish": [""], "cylinder": ["1", "2", "4", "9"], "heard": ["exhaust", "2: intake faint", "next-cylinder 7"],
    "rocked": ["3: changed", "9: same"],
    "start": [TestPlan("one", FOUR, acknowledged=who).to_text() for who in ("kim", "")],
}  # fmt: skip


def seen(word: str, t_s: float) -> Event:
    match word.split(" ", 1):
        case ["air", state]:
            return AirChange(1, t_s, AirState(state), 6e5)
        case ["supply", state]:
            return SupplyChange(1, t_s, SupplyState(state), 6.9e5, 6.9e5, "")
        case ["crank", over]:
            return Fault(1, t_s, "crank-moved", "it fell", "", over == "back")
        case ["tap"]:
            return Tap(1, t_s, t_s - 1, 5e4, 1.0)
        case ["stable"]:
            return StableReading(1, t_s, 1, 6.9e5, 6e5, 9, 0.5, 9, 9, 0.6, 1e-6, 1e-3, 1e-3, 1e-3, "c")
    kind, _, text = word.partition(" ")
    return Marked(1, t_s, kind, text, "operator")


PRESSURES = [
    *(f"air {state}" for state in AirState), *(f"supply {state}" for state in SupplyState), "stable", "tap",
    "crank moved", "crank back",
]  # fmt: skip
SAID = [f"{kind} {text}".strip() for kind, texts in MARKS.items() for text in texts]
COURSES = st.lists(st.sampled_from([*PRESSURES, *PRESSURES, *SAID]), max_size=40)


class Followed:
    """A procedure beside what a database would hold of its newest test."""

    def __init__(self) -> None:
        self.procedure = Procedure(FOUR)
        self.stored: list[Event] = []
        self.before: dict[str, Event] = {}
        self.results: set[tuple[int, int]] = set()
        self.test = ""
        self.open = False

    def feed(self, event: Event) -> None:
        for each in self.procedure.feed(event):
            self._take(each)
            kind = kind_of(each)
            if kind in ("air_change", "supply_change"):
                self.before[kind] = each
            if kind in FOLLOWED_KINDS:
                self.stored.append(each)

    def _take(self, event: Any) -> None:
        match event:
            case TestStarted():
                assert not self.open
                self.stored, self.results = list(self.before.values()), set()
                self.test, self.open = event.test, True
            case TestDone():
                assert event.test == self.test
                assert {(done.cylinder, done.attempt) for done in event.cylinders} == self.results
                self.open = False
            case CylinderDone():
                self.results.add((event.cylinder, event.attempt))
            case Withdrawn(what=TakenBack.RESULT):
                self.results.remove((event.cylinder, event.number))
                self.open = True
            case Withdrawn(what=TakenBack.SKIP):
                self.open = True


@settings(max_examples=300, deadline=None)
@given(COURSES)
def test_undo_is_offered_exactly_where_it_takes_something_back(course: list[str]) -> None:
    """And whatever changes that is told."""
    procedure = Procedure(FOUR)
    offered = False
    for number, word in enumerate(course):
        told = procedure.feed(seen(word, float(number)))
        offered = next((each.can_undo for each in reversed(told) if isinstance(each, Session)), offered)
    assert offered == procedure.session(1, 0.0).can_undo
    assert offered == any(isinstance(each, Withdrawn) for each in procedure.feed(seen("undo", 99.0)))


@settings(max_examples=300, deadline=None)
@given(COURSES, COURSES)
def test_any_course_broken_off_goes_on_as_it_would_have(first: list[str], then: list[str]) -> None:
    whole = Followed()
    for number, word in enumerate(first):
        event = seen(word, float(number))
        if not (isinstance(event, Marked) and meaningless(whole.procedure.phase, event.kind)):
            whole.feed(event)
    if not whole.open:
        return
    fresh = Procedure(FOUR)
    fresh.resume([event_from(kind_of(each), plain(each)) for each in whole.stored])
    assert fresh.session(1, 0.0) == whole.procedure.session(1, 0.0)
    for number, word in enumerate(then, len(first)):
        event = seen(word, float(number))
        if isinstance(event, Marked) and event.kind == "cylinder" and whole.procedure.phase == "done":
            return  # another test, which its run names
        told = [[plain(each) for each in made.feed(event)] for made in (fresh, whole.procedure)]
        assert told[0] == told[1]
