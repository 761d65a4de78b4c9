"""A test of an engine as it happens: takes the events of the measurement, gives them back with those of the test."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from daq.errors import UsageError
from daq.procedure.course import Course
from daq.procedure.cues import Moment, cues_of
from daq.procedure.engine import EngineOrder
from daq.procedure.finding import named_cylinders, words_of
from daq.procedure.plan import TestPlan, plan_from
from daq.procedure.states import STEERED_BY, TABLE, UNDER_AIR, Phase, Trigger
from daq.procedure.verdict import COMMON_PRACTICE, Limits, judged
from daq.records import (
    AirChange,
    AirState,
    CylinderJudged,
    Event,
    Fault,
    Marked,
    MarkKind,
    Session,
    StableReading,
    SupplyChange,
    SupplyState,
    TakenBack,
    Tap,
    TestStarted,
)


class Procedure:
    """Feed it event by event. What it does depends on nothing else, so the same events lead to the same state.

    `plan` is that of a test which begins by itself with the first air; a mark may bring another one. Cylinders are
    judged by `limits`, which are as this instrument reads them.
    """

    def __init__(self, plan: TestPlan | EngineOrder, limits: Limits = COMMON_PRACTICE) -> None:
        self._limits = limits
        self._default = plan if isinstance(plan, TestPlan) else TestPlan("auto", plan, explicit=False)
        self._begun = 0
        self._air = AirState.OFF
        self._held = False
        self._segment = 0
        self.phase = self._came_from = Phase.WAIT_AIR
        self._adopt(self._next_default(), Phase.WAIT_AIR)

    @property
    def cylinder(self) -> int | None:
        """The one on the hose, or the next; None once the test is over."""
        return self._course.cylinder

    def feed(self, event: Event) -> list[Event]:
        """The event itself (a stable reading now names cylinder and phase), then what follows from it."""
        stood, air = self.session(event.segment, event.t_s), self._air
        out = self._step(event)
        moment = Moment(stood, air is AirState.ON, self._air is AirState.ON)
        return [record for each in out for record in (each, *cues_of(each, self._course.plan, moment))]

    def resume(self, events: Iterable[Event]) -> None:
        """Come to where the test stood after `events`; what follows from them is known.

        Before the start of the test may stand what air and supply were then.
        """
        for event in events:
            match event:
                case TestStarted(plan=text):
                    plan = plan_from(text)
                    held_back = plan.explicit and not plan.acknowledged
                    self._adopt(plan, Phase.CAUTIONS if held_back else Phase.WAIT_AIR, started=True)
                case Marked(kind=MarkKind.START):
                    pass
                case _:
                    self._step(event)

    def session(self, segment: int, t_s: float) -> Session:
        """Where the test stands now, as a record."""
        course, plan = self._course, self._course.plan
        return Session(
            segment, t_s, plan.engine.name, course.cylinder, self.phase.value, course.following(),
            plan.test, tuple(course.done), tuple(course.skipped), plan.engine.firing_order,
            self._can_undo,
        )  # fmt: skip

    def verdicts(self, segment: int, t_s: float) -> list[Event]:
        """On each cylinder of which something counts now."""
        return [self._verdict(segment, t_s, cylinder) for cylinder in self._course.counting()]

    # ---- one event

    def _step(self, event: Event) -> list[Event]:
        if event.segment != self._segment:  # where nothing is known of the supply until it is told
            self._segment, self._held = event.segment, False
        trigger = self._trigger(event)
        if trigger is None or (self.phase, trigger) not in TABLE:
            return [self._labelled(event)]
        before = self._standing()
        if (self.phase, trigger) == (Phase.DONE, Trigger.CYLINDER):  # all was done: another test begins
            self._adopt(self._next_default(), Phase.WAIT_AIR)
        opening = [] if trigger is Trigger.START else self._course.open(event)
        course, counted = self._course, self._course.counting()
        labelled, follow = self._move(trigger, event)
        follow += self._judged_anew(event, counted, course.counting())
        if self._standing() != before:
            follow.append(self.session(event.segment, event.t_s))
        return [*opening, labelled, *follow]

    def _move(self, trigger: Trigger, event: Event) -> tuple[Event, list[Event]]:
        """A test without a cylinder is done, whatever the table says; one that was done and has one again is not."""
        self._came_from = self.phase
        self.phase, action = TABLE[self.phase, trigger]
        labelled = self._labelled(event)
        follow = self._deed(action)(labelled)
        if self.cylinder is None:
            self.phase = Phase.DONE
        elif self.phase is Phase.DONE:
            self.phase = Phase.WAIT_AIR
        return labelled, follow

    def _deed(self, action: str) -> Callable[[Event], list[Event]]:
        """Of the procedure itself, where phase or air are asked for; all others are those of the course."""
        own: Callable[[Event], list[Event]] | None = getattr(self, f"_{action}", None)
        deed: Callable[[Event], list[Event]] = own or getattr(self._course, action)
        return deed

    def _standing(self) -> tuple[object, ...]:
        course = self._course
        return (
            course.plan.test, self.phase, course.cylinder, tuple(course.done), tuple(course.skipped), self._can_undo
        )  # fmt: skip

    @property
    def _can_undo(self) -> bool:
        """Under air only a finding; see `undo_finding`."""
        newest = self._course.newest
        if (self.phase, Trigger.UNDO) not in TABLE:
            return False
        return newest is TakenBack.FINDING or (newest is not None and self.phase not in UNDER_AIR)

    def _judged_anew(self, event: Event, before: Mapping[int, object], now: Mapping[int, object]) -> list[Event]:
        """The verdicts on the cylinders of which something else counts now than before `event`."""
        changed = [cylinder for cylinder in {**before, **now} if before.get(cylinder) != now.get(cylinder)]
        return [self._verdict(event.segment, event.t_s, cylinder) for cylinder in changed]

    def _verdict(self, segment: int, t_s: float, cylinder: int) -> CylinderJudged:
        plan, limits = self._course.plan, self._limits
        as_found, after = (
            judged(reading, limits, plan.temperature.cold)
            for reading in self._course.counting().get(cylinder, (None, None))
        )  # fmt: skip
        return CylinderJudged(
            segment, t_s, plan.test, cylinder, as_found, after,
            limits.name, limits.sound_to.loss_pct, limits.investigate_from.loss_pct,
        )  # fmt: skip

    def _trigger(self, event: Event) -> Trigger | None:
        """Air that was on already and is told again, as after a restart of the board, is no new air."""
        match event:
            case AirChange(state=state):
                again, self._air = self._air is state, state
                return None if again else self._air_trigger()
            case SupplyChange(state=state):
                self._held = state is SupplyState.HELD
                return Trigger.SUPPLY_HELD if self._held else None
            case StableReading():
                return Trigger.STABLE
            case Tap():
                return Trigger.TAP
            case Fault(fault="crank-moved", over=over):
                return Trigger.CRANK_BACK if over else Trigger.CRANK_MOVED
            case Marked(kind=kind, text=text) if kind in STEERED_BY:
                return STEERED_BY[kind] if _readable(kind, text, self._meant(kind)) else None
            case _:
                return None

    def _meant(self, kind: str) -> EngineOrder:
        """The engine whose cylinders a mark names: after the end of a test `cylinder` begins one of the default's."""
        begins = self.phase is Phase.DONE and kind == MarkKind.CYLINDER
        return self._default.engine if begins else self._course.plan.engine

    def _air_trigger(self) -> Trigger:
        if self._air is AirState.OFF:
            return Trigger.AIR_OFF
        return Trigger.AIR_ON if self._held else Trigger.AIR_ON_LOW

    def _labelled(self, event: Event) -> Event:
        if isinstance(event, StableReading) and self.phase in UNDER_AIR and self.cylinder is not None:
            return replace(event, cylinder=self.cylinder, phase=self.phase.value, attempt=self._course.attempt)
        return event

    # ---- deeds of the test as a whole

    def _next_default(self) -> TestPlan:
        self._begun += 1
        return self._default.named(f"{self._default.test}-{self._begun}")

    def _adopt(self, plan: TestPlan, phase: Phase, started: bool = False) -> None:
        self._course, self.phase = Course(plan, started), phase
        self._paused_in = Phase.WAIT_AIR

    def _start(self, event: Event) -> list[Event]:
        """Another test; the one before is ended as far as it came."""
        assert isinstance(event, Marked)
        ended = self._course.end(event) if self._course.is_open else []
        plan = plan_from(event.text)
        self._adopt(plan, Phase.WAIT_AIR if plan.acknowledged else Phase.CAUTIONS)
        return [*ended, *self._course.open(event)]

    def _acknowledge(self, event: Event) -> list[Event]:
        return self._catch_up(event)

    def _catch_up(self, event: Event) -> list[Event]:
        """The air may have gone on or off while nothing was to follow from it."""
        trigger = self._air_trigger()
        waits = self.phase is Phase.WAIT_AIR
        if waits is (self._air is AirState.OFF) or (self.phase, trigger) not in TABLE:
            return []
        opening = self._course.open(event)
        return [*opening, *self._move(trigger, event)[1]]

    def _pause(self, event: Event) -> list[Event]:
        self._paused_in = self._came_from
        return []

    def _go_on(self, event: Event) -> list[Event]:
        self.phase = self._paused_in
        return self._catch_up(event)

    def _go(self, event: Event) -> list[Event]:
        return []

    # ---- deeds that ask for phase or air

    def _resume_capture(self, event: Event) -> list[Event]:
        """What fell came back by itself: no crank that moved. Still under air, it settles anew as after a tap."""
        if self._air is AirState.ON:
            self.phase = Phase.RESETTLE if self._course.tapped else Phase.AS_FOUND
        return []

    def _rename(self, event: Event) -> list[Event]:
        """The cylinder on the hose is the one that the mark's text names."""
        assert isinstance(event, Marked)
        self._course.renumber(int(event.text), begun=self.phase is not Phase.WAIT_AIR)
        return []

    def _note_finding(self, event: Event) -> list[Event]:
        assert isinstance(event, Marked)
        return self._course.note(event, words_of(event.text), self.phase in UNDER_AIR)


def _readable(kind: str, text: str, engine: EngineOrder) -> bool:
    """What cannot be read, or names a cylinder that the engine does not have, moves nothing; the edge has refused it,
    a raw log may hold anything."""
    try:
        if kind == MarkKind.START:
            plan_from(text)
        return all(number in engine.firing_order for number in named_cylinders(kind, text))
    except UsageError:
        return False
