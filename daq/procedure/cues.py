"""What to say at each step, for hands that are busy and a screen that is far. Pure: an event in, its cues out.

The words stand in WORDS, one row a cue, so that they can be translated: a file of the same names with other words does
it. `{names}` are the values of the cue.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import singledispatch
from typing import Any

from daq.errors import UsageError
from daq.procedure.finding import rocked_of
from daq.procedure.plan import TestPlan
from daq.procedure.states import TABLE, UNDER_AIR, Phase, Trigger
from daq.records import (
    AirChange,
    AirState,
    Cue,
    CueLevel,
    Event,
    Fault,
    Finding,
    LinkChange,
    Marked,
    MarkKind,
    Session,
    SoftStep,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TapEffect,
    TapVerdict,
    TestDone,
    TestStarted,
    Withdrawn,
)
from daq.units import both

NEWS, DO, CAUTION, ALARM = CueLevel.NEWS, CueLevel.DO, CueLevel.CAUTION, CueLevel.ALARM

WORDS: dict[str, tuple[CueLevel, str]] = {
    "test-started": (NEWS, "Test of {engine}, {cylinders} cylinders."),
    "cautions": (CAUTION, "Before any air: tools off the crank, stand clear, regulator at zero. Then acknowledge."),
    "air-too-soon": (ALARM, "Air is on and nobody has acknowledged the cautions. Vent the air."),
    "first-cylinder": (DO, "Cylinder {cylinder} first. Top dead centre, tools off, connect, then air."),
    "next-cylinder": (DO, "Cylinder {cylinder} next. Top dead centre, tools off, connect, then air."),
    "turn-to-cylinder": (
        DO,
        "Cylinder {cylinder} next. Turn the crank {degrees} degrees. Tools off, connect, air.",
    ),
    "vent-first": (DO, "Vent the air. Then cylinder {cylinder}."),
    "vent": (CAUTION, "Vent the air."),
    "gently": (DO, "Gently: a low pressure first."),
    "crank-holds": (NEWS, "The crank holds at {pressure}. Up to the set point."),
    "captured": (NEWS, "Cylinder {cylinder}, {loss} percent, stable."),
    "tap-now": (DO, "Tap the valves now, or vent for the next cylinder."),
    "vent-now": (DO, "Vent for the next cylinder."),
    "tap": (NEWS, "Tap."),
    "better": (NEWS, "Better by {change} points, {after} percent now."),
    "worse": (CAUTION, "Worse by {change} points, {after} percent now."),
    "no-change": (NEWS, "No change, {after} percent."),
    "cannot-tell": (NEWS, "Cannot tell yet, {after} percent."),
    "crank-moved": (ALARM, "Crank moved. Vent the air."),
    "fault": (CAUTION, "{fault}. {todo}"),
    "fault-over": (NEWS, "{fault}: over."),
    "supply-lost": (CAUTION, "Supply lost, {pressure}."),
    "supply-back": (NEWS, "Supply is back."),
    "noted": (NEWS, "Noted: cylinder {cylinder}, {place}, {strength}."),
    "rocked-changed": (NEWS, "Noted: rocking the crank changed cylinder {cylinder}."),
    "rocked-same": (NEWS, "Noted: rocking the crank did not change cylinder {cylinder}."),
    "renamed": (NEWS, "This is cylinder {cylinder}."),
    "taken-back": (NEWS, "Taken back: {what}, cylinder {cylinder}."),
    "paused": (NEWS, "Paused."),
    "going-on": (NEWS, "Going on."),
    "line-lost": (CAUTION, "The board does not answer."),
    "line-back": (NEWS, "The board is there."),
    "test-done": (NEWS, "All {done} cylinders done."),
    "test-ended": (NEWS, "Test ended, {done} of {cylinders} cylinders done."),
}

_EFFECTS = {
    TapVerdict.IMPROVED: "better",
    TapVerdict.WORSE: "worse",
    TapVerdict.NO_CHANGE: "no-change",
    TapVerdict.CANNOT_TELL: "cannot-tell",
}

Words = Iterator[tuple[str, dict[str, str]]]


@dataclass(frozen=True, slots=True)
class Moment:
    """Where the test stood when something came, and whether the cylinder was and is under air."""

    stood: Session
    air_was_on: bool
    air_is_on: bool

    @property
    def phase(self) -> Phase:
        return Phase(self.stood.phase)

    def is_news(self, session: Session) -> bool:
        """The test stands elsewhere now, not only something of it can be taken back."""
        stood = self.stood
        return (session.test, session.phase, session.cylinder) != (stood.test, stood.phase, stood.cylinder)


def cues_of(event: Event, plan: TestPlan, moment: Moment) -> list[Cue]:
    """What is to be told of an event, or of what followed from it; most are not worth a word."""
    cylinder = getattr(event, "cylinder", None)
    return [
        Cue(event.segment, event.t_s, name, WORDS[name][0], WORDS[name][1].format(**values), cylinder, values)
        for name, values in _words(event, plan, moment)
    ]


@singledispatch
def _words(event: Any, plan: TestPlan, moment: Moment) -> Words:
    yield from ()


@_words.register
def _started(event: TestStarted, plan: TestPlan, moment: Moment) -> Words:
    yield "test-started", {"engine": event.engine, "cylinders": str(len(plan.engine.firing_order))}
    if not plan.acknowledged:
        yield "cautions", {}


@_words.register
def _session(event: Session, plan: TestPlan, moment: Moment) -> Words:
    if not moment.is_news(event):
        return
    if moment.phase is Phase.PAUSED and event.phase in UNDER_AIR:
        yield "going-on", {}
    match event.phase:
        case Phase.WAIT_AIR | Phase.CAUTIONS | Phase.DONE:
            yield from _under_air(event) if moment.air_is_on else _connect(event, plan)
        case moment.phase if event.phase in UNDER_AIR:
            yield "renamed", {"cylinder": str(event.cylinder)}
        case Phase.PRESSURISE if plan.soft_step:
            yield "gently", {}
        case Phase.AS_FOUND if moment.phase is not Phase.PAUSED:
            yield "tap-now" if plan.has_valves else "vent-now", {}
        case Phase.PAUSED:
            yield "paused", {}


def _under_air(event: Session) -> Words:
    """Where no air should be: nobody may turn the crank, nor take the hose off."""
    match event.phase:
        case Phase.CAUTIONS:
            yield "air-too-soon", {}
        case Phase.WAIT_AIR:
            yield "vent-first", {"cylinder": str(event.cylinder)}
        case _:
            yield "vent", {}


def _connect(event: Session, plan: TestPlan) -> Words:
    if event.phase == Phase.WAIT_AIR and event.cylinder is not None:
        yield _way_to(event.cylinder, event, plan)


def _way_to(cylinder: int, event: Session, plan: TestPlan) -> tuple[str, dict[str, str]]:
    turn_deg = plan.turn_to(cylinder)
    values = {"cylinder": str(cylinder)}
    if not event.done and not event.skipped:
        return "first-cylinder", values
    before = plan.engine.before(cylinder)
    if turn_deg is None or before not in (*event.done[-1:], *event.skipped):
        return "next-cylinder", values
    return "turn-to-cylinder", values | {"degrees": f"{turn_deg:.0f}"}


@_words.register
def _air(event: AirChange, plan: TestPlan, moment: Moment) -> Words:
    if event.state is AirState.ON and moment.phase is Phase.CAUTIONS:
        yield "air-too-soon", {}
    if event.state is AirState.OFF and moment.air_was_on:
        yield from _connect(moment.stood, plan)


@_words.register
def _soft(event: SoftStep, plan: TestPlan, moment: Moment) -> Words:
    if moment.phase is Phase.PRESSURISE:
        yield "crank-holds", {"pressure": both(event.supply_gauge_pa)}


@_words.register
def _reading(event: StableReading, plan: TestPlan, moment: Moment) -> Words:
    """As found is what was found first: another reading is no capture."""
    if event.phase == Phase.AS_FOUND and moment.phase is not Phase.AS_FOUND:
        yield "captured", {"cylinder": str(event.cylinder), "loss": f"{event.loss_at_set_pct:.1f}"}


@_words.register
def _tap(event: Tap, plan: TestPlan, moment: Moment) -> Words:
    if moment.phase in UNDER_AIR:
        yield "tap", {}


@_words.register
def _effect(event: TapEffect, plan: TestPlan, moment: Moment) -> Words:
    yield _EFFECTS[event.verdict], {"change": f"{abs(event.change_pct):.1f}", "after": f"{event.after_pct:.1f}"}


@_words.register
def _fault(event: Fault, plan: TestPlan, moment: Moment) -> Words:
    if event.fault == "crank-moved" and not event.over:
        yield "crank-moved", {}
    else:
        values = {"fault": event.fault.replace("-", " ").capitalize(), "todo": event.todo}
        yield "fault-over" if event.over else "fault", values


@_words.register
def _supply(event: SupplyChange, plan: TestPlan, moment: Moment) -> Words:
    if moment.phase not in (Phase.SETTLE, Phase.RESETTLE):  # elsewhere nothing waits for it, and it may be meant
        return
    if event.state is SupplyState.LOST:
        yield "supply-lost", {"pressure": both(event.supply_gauge_pa)}
    else:
        yield "supply-back", {}


@_words.register
def _finding(event: Finding, plan: TestPlan, moment: Moment) -> Words:
    place = event.place.replace("-", " ") + (f" {event.neighbour}" if event.neighbour else "")
    yield "noted", {"cylinder": str(event.cylinder), "place": place, "strength": event.strength.value}


@_words.register
def _marked(event: Marked, plan: TestPlan, moment: Moment) -> Words:
    """What came of rocking the crank is told where it counts: a raw log may hold anything."""
    if event.kind != MarkKind.ROCKED or (moment.phase, Trigger.ROCKED) not in TABLE:
        return
    with contextlib.suppress(UsageError):
        cylinder, changed = rocked_of(event.text)
        if cylinder in plan.engine.firing_order:
            yield "rocked-changed" if changed else "rocked-same", {"cylinder": str(cylinder)}


@_words.register
def _withdrawn(event: Withdrawn, plan: TestPlan, moment: Moment) -> Words:
    yield "taken-back", {"what": event.what.value, "cylinder": str(event.cylinder)}


@_words.register
def _line(event: LinkChange, plan: TestPlan, moment: Moment) -> Words:
    if event.reason != "stopped":
        yield "line-back" if event.up else "line-lost", {}


@_words.register
def _done(event: TestDone, plan: TestPlan, moment: Moment) -> Words:
    values = {"done": str(len(event.cylinders)), "cylinders": str(len(plan.engine.firing_order))}
    yield "test-done" if len(event.cylinders) == len(plan.engine.firing_order) else "test-ended", values
