"""A test of an engine as it happens: takes the events of the measurement, gives them back with those of the test."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from daq.errors import UsageError
from daq.procedure.cues import cues_of
from daq.procedure.engine import EngineOrder
from daq.procedure.finding import named_cylinders, words_of
from daq.procedure.plan import TestPlan, plan_from
from daq.procedure.states import STEERED_BY, TABLE, UNDER_AIR, Phase, Trigger
from daq.procedure.tap_effect import tap_effect
from daq.records import (
    AirChange,
    AirState,
    Cue,
    CylinderDone,
    Event,
    Fault,
    Finding,
    Marked,
    MarkKind,
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

AIR_LOST = "The air went before the reading was stable."
AIR_LOST_TODO = "If that was not you, check hose and coupling; the cylinder is tested again as soon as the air is back."
CRANK_FAULT = "crank-moved"


@dataclass(frozen=True, slots=True)
class Work:
    """What has been seen of the cylinder under test since its air went on; `new_taps` came after the newest capture."""

    as_found: StableReading | None = None
    after_tap: StableReading | None = None
    taps: int = 0
    new_taps: int = 0


@dataclass(frozen=True, slots=True)
class Entry:
    """Something that can be taken back, newest last."""

    what: TakenBack
    cylinder: int
    number: int


class Procedure:
    """Feed it event by event. What it does depends on nothing else, so the same events lead to the same state.

    `plan` is that of a test which begins by itself with the first air; a mark may bring another one.
    """

    def __init__(self, plan: TestPlan | EngineOrder) -> None:
        self._default = plan if isinstance(plan, TestPlan) else TestPlan("auto", plan, explicit=False)
        self._begun = 0
        self._air = AirState.OFF
        self._held = False
        self._segment = 0
        self.phase = self._came_from = Phase.WAIT_AIR
        self._adopt(self._next_default(), Phase.WAIT_AIR)

    def feed(self, event: Event) -> list[Event]:
        """The event itself (a stable reading now names cylinder and phase), then what follows from it."""
        phase = self.phase
        out = self._step(event)
        return [record for each in out for record in (each, *self._cues(each, phase))]

    def resume(self, events: Iterable[Event]) -> None:
        """Come to where the test stood after `events`; what follows from them is known.

        Before the start of the test may stand what air and supply were then.
        """
        for event in events:
            match event:
                case TestStarted(plan=text):
                    plan = plan_from(text)
                    self._adopt(plan, Phase.WAIT_AIR if plan.acknowledged or not plan.explicit else Phase.CAUTIONS)
                    self._started = True
                case Marked(kind=MarkKind.START):
                    pass
                case _:
                    self._step(event)

    def session(self, segment: int, t_s: float) -> Session:
        """Where the test stands now, as a record."""
        return Session(
            segment, t_s, self._plan.engine.name, self.cylinder, self.phase.value, self._following(),
            self._plan.test, tuple(self._done), tuple(self._skipped),
        )  # fmt: skip

    def _cues(self, event: Event, phase: Phase) -> list[Cue]:
        return cues_of(event, self._plan, phase)

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
        opening = [] if trigger is Trigger.START else self._open(event)
        labelled, follow = self._move(trigger, event)
        if self._standing() != before:
            follow.append(self.session(event.segment, event.t_s))
        return [*opening, labelled, *follow]

    def _move(self, trigger: Trigger, event: Event) -> tuple[Event, list[Event]]:
        self._came_from = self.phase
        self.phase, action = TABLE[self.phase, trigger]
        labelled = self._labelled(event)
        return labelled, self._act(action, labelled)

    def _standing(self) -> tuple[object, ...]:
        return (self._plan.test, self.phase, self.cylinder, tuple(self._done), tuple(self._skipped))

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
        return self._default.engine if begins else self._plan.engine

    def _air_trigger(self) -> Trigger:
        if self._air is AirState.OFF:
            return Trigger.AIR_OFF
        return Trigger.AIR_ON if self._held else Trigger.AIR_ON_LOW

    def _labelled(self, event: Event) -> Event:
        if isinstance(event, StableReading) and self.phase in UNDER_AIR and self.cylinder is not None:
            attempt = self._attempts.get(self.cylinder, 0)
            return replace(event, cylinder=self.cylinder, phase=self.phase.value, attempt=attempt)
        return event

    def _act(self, action: str, event: Event) -> list[Event]:
        deed: Callable[[Event], list[Event]] = getattr(self, f"_{action}")
        return deed(event)

    # ---- the test as a whole

    def _next_default(self) -> TestPlan:
        self._begun += 1
        return self._default.named(f"{self._default.test}-{self._begun}")

    def _adopt(self, plan: TestPlan, phase: Phase) -> None:
        self._plan, self.phase = plan, phase
        self.cylinder: int | None = plan.engine.firing_order[0]
        self._work = Work()
        self._done: dict[int, CylinderDone] = {}
        self._skipped: set[int] = set()
        self._attempts: dict[int, int] = {}
        self._findings = 0
        self._journal: list[Entry] = []
        self._paused_in = Phase.WAIT_AIR
        self._last: int | None = None
        self._started = self._ended = False

    def _open(self, event: Event) -> list[Event]:
        """A test that began by itself is told before the first that happens in it, air or mark."""
        if self._started:
            return []
        self._started = True
        plan = self._plan
        return [TestStarted(event.segment, event.t_s, plan.test, plan.engine.name, plan.to_text())]

    def _start(self, event: Event) -> list[Event]:
        """Another test; the one before is ended as far as it came."""
        assert isinstance(event, Marked)
        ended = self._end(event) if self._started and not self._ended else []
        plan = plan_from(event.text)
        self._adopt(plan, Phase.WAIT_AIR if plan.acknowledged else Phase.CAUTIONS)
        return [*ended, *self._open(event)]

    def _acknowledge(self, event: Event) -> list[Event]:
        return self._catch_up(event)

    def _catch_up(self, event: Event) -> list[Event]:
        """The air may have gone on or off while nothing was to follow from it."""
        trigger = self._air_trigger()
        waits = self.phase is Phase.WAIT_AIR
        if waits is (self._air is AirState.OFF) or (self.phase, trigger) not in TABLE:
            return []
        opening = self._open(event)
        return [*opening, *self._move(trigger, event)[1]]

    def _pause(self, event: Event) -> list[Event]:
        self._paused_in = self._came_from
        return []

    def _go_on(self, event: Event) -> list[Event]:
        self.phase = self._paused_in
        return self._catch_up(event)

    def _go(self, event: Event) -> list[Event]:
        return []

    def _end(self, event: Event) -> list[Event]:
        """What has been captured counts; what has not been reached is missing."""
        captured = self._result(event) if self._work.as_found is not None else []
        return [*captured, *self._close(event)]

    def _close(self, event: Event) -> list[Event]:
        order = self._plan.engine.firing_order
        self._last = self._last or self.cylinder
        self.phase, self.cylinder = Phase.DONE, None
        self._ended = True
        results = tuple(self._done[cylinder] for cylinder in order if cylinder in self._done)
        skipped = tuple(cylinder for cylinder in order if cylinder in self._skipped)
        complete = len(results) + len(skipped) == len(order)
        done = TestDone(event.segment, event.t_s, self._plan.engine.name, results, self._plan.test, skipped, complete)
        return [done]

    # ---- one cylinder

    def _begin(self, event: Event) -> list[Event]:
        assert self.cylinder is not None
        self._work = Work()
        self._attempts[self.cylinder] = self._attempts.get(self.cylinder, 0) + 1
        return []

    def _begin_again(self, event: Event) -> list[Event]:
        discarded = self._attempt_withdrawn(event, "repeated")
        return [*discarded, *self._begin(event)]

    def _discard(self, event: Event) -> list[Event]:
        discarded = self._attempt_withdrawn(event, "the crank moved")
        self._work = Work()
        return discarded

    def _attempt_withdrawn(self, event: Event, reason: str) -> list[Event]:
        """An attempt at which nothing was captured leaves nothing to withdraw."""
        if self._work.as_found is None or self.cylinder is None:
            return []
        number = self._attempts.get(self.cylinder, 1)
        return [Withdrawn(event.segment, event.t_s, TakenBack.ATTEMPT, self.cylinder, number, reason)]

    def _lose_air(self, event: Event) -> list[Event]:
        """Vented before anything was stable: the mechanic knows why, or the hose came off."""
        self._work = Work()
        return [Fault(event.segment, event.t_s, "air-lost", AIR_LOST, AIR_LOST_TODO)]

    def _capture(self, event: Event) -> list[Event]:
        assert isinstance(event, StableReading)
        self._work = replace(self._work, as_found=event)
        return []

    def _capture_after(self, event: Event) -> list[Event]:
        """The newest reading counts; the first one after taps tells what they did."""
        assert isinstance(event, StableReading)
        before, taps = self._work.after_tap or self._work.as_found, self._work.new_taps
        self._work = replace(self._work, after_tap=event, new_taps=0)
        return [tap_effect(before, event, taps)] if before is not None and taps else []

    def _resume_capture(self, event: Event) -> list[Event]:
        """What fell came back by itself: no crank that moved. Still under air, it settles anew as after a tap."""
        if self._air is AirState.ON:
            self.phase = Phase.AS_FOUND if self._work.taps == 0 else Phase.RESETTLE
        return []

    def _count_tap(self, event: Event) -> list[Event]:
        self._work = replace(self._work, taps=self._work.taps + 1, new_taps=self._work.new_taps + 1)
        return []

    # ---- from one cylinder to another

    def _finish(self, event: Event) -> list[Event]:
        return [*self._result(event), *self._advance(event)]

    def _result(self, event: Event) -> list[Event]:
        """Of a cylinder that was done before, by its number, the newer result counts."""
        work, cylinder = self._work, self.cylinder
        assert cylinder is not None and work.as_found is not None
        attempt = self._attempts.get(cylinder, 1)
        done = CylinderDone(event.segment, event.t_s, cylinder, work.as_found, work.after_tap, work.taps, attempt)
        before = self._withdraw_result(event, cylinder, "repeated")
        self._work = Work()
        self._done[cylinder] = done
        self._skipped.discard(cylinder)
        self._journal.append(Entry(TakenBack.RESULT, cylinder, attempt))
        return [*before, done]

    def _following(self) -> int | None:
        """The next of the order without a result, beginning anew at its front; None when there is none."""
        order = self._plan.engine.firing_order
        if self.cylinder is None:
            return None
        place = order.index(self.cylinder) + 1
        rest = (each for each in (*order[place:], *order[: place - 1]))
        return next((each for each in rest if each not in self._done and each not in self._skipped), None)

    def _advance(self, event: Event) -> list[Event]:
        self._work = Work()
        self._last, following = self.cylinder, self._following()
        if following is None:
            return self._close(event)
        self.cylinder = following
        return []

    def _skip(self, event: Event) -> list[Event]:
        """No result for this cylinder, also not an earlier one."""
        assert self.cylinder is not None
        withdrawn = [
            *self._attempt_withdrawn(event, "skipped"),
            *self._withdraw_result(event, self.cylinder, "skipped"),
        ]
        self._skipped.add(self.cylinder)
        self._journal.append(Entry(TakenBack.SKIP, self.cylinder, 1))
        return [*withdrawn, *self._advance(event)]

    def _rename(self, event: Event) -> list[Event]:
        """The cylinder on the hose is the one that the mark's text names; what was captured of it stays."""
        assert isinstance(event, Marked) and self.cylinder is not None
        number = int(event.text)
        if self.phase is not Phase.WAIT_AIR and number != self.cylinder:
            self._attempts[self.cylinder] = max(self._attempts.get(self.cylinder, 1) - 1, 0)
            self._attempts[number] = self._attempts.get(number, 0) + 1
        self.cylinder = number
        self._work = _renumbered(self._work, number)
        return []

    # ---- what is taken back

    def _take_back(self, event: Event) -> list[Event]:
        """Between two cylinders, `again` means the one that was just finished; its result is taken back."""
        last = self._last or (self.cylinder and self._plan.engine.before(self.cylinder)) or self.cylinder
        assert last is not None
        withdrawn = self._withdraw_result(event, last, "repeated")
        return [*withdrawn, *self._return_to(last)]

    def _withdraw_result(self, event: Event, cylinder: int, reason: str) -> list[Event]:
        done = self._done.pop(cylinder, None)
        if done is None:
            return []
        self._journal = [e for e in self._journal if (e.what, e.cylinder) != (TakenBack.RESULT, cylinder)]
        return [Withdrawn(event.segment, event.t_s, TakenBack.RESULT, cylinder, done.attempt, reason)]

    def _return_to(self, cylinder: int) -> list[Event]:
        self.phase, self.cylinder, self._work = Phase.WAIT_AIR, cylinder, Work()
        self._last, self._ended = None, False
        return []

    def _undo(self, event: Event) -> list[Event]:
        """The newest thing that was noted: a result, that a cylinder was skipped, or a finding."""
        if not self._journal:
            return []
        entry = self._journal.pop()
        if entry.what is TakenBack.RESULT:
            return [*self._withdraw_result(event, entry.cylinder, "taken back"), *self._return_to(entry.cylinder)]
        withdrawn = Withdrawn(event.segment, event.t_s, entry.what, entry.cylinder, entry.number, "taken back")
        if entry.what is TakenBack.SKIP:
            self._skipped.discard(entry.cylinder)
            self._return_to(entry.cylinder)
        return [withdrawn]

    def _undo_finding(self, event: Event) -> list[Event]:
        """Under air only a finding is taken back; the capture itself is begun again by `again`."""
        return self._undo(event) if self._journal and self._journal[-1].what is TakenBack.FINDING else []

    def _note_finding(self, event: Event) -> list[Event]:
        """Of the cylinder that is named, else of the one under air, else of the last that was."""
        assert isinstance(event, Marked)
        words = words_of(event.text)
        meant = self.cylinder if self.phase in UNDER_AIR or self._last is None else self._last
        cylinder = words.cylinder if words.cylinder is not None else meant
        assert cylinder is not None
        self._findings += 1
        self._journal.append(Entry(TakenBack.FINDING, cylinder, self._findings))
        return [
            Finding(
                event.segment, event.t_s, self._findings, cylinder,
                words.place, words.strength, words.neighbour, words.note,
            )
        ]  # fmt: skip


def _readable(kind: str, text: str, engine: EngineOrder) -> bool:
    """What cannot be read, or names a cylinder that the engine does not have, moves nothing; the edge has refused it,
    a raw log may hold anything."""
    try:
        if kind == MarkKind.START:
            plan_from(text)
        return all(number in engine.firing_order for number in named_cylinders(kind, text))
    except UsageError:
        return False


def _renumbered(work: Work, number: int) -> Work:
    as_found, after_tap = work.as_found, work.after_tap
    return replace(
        work,
        as_found=as_found and replace(as_found, cylinder=number),
        after_tap=after_tap and replace(after_tap, cylinder=number),
    )
