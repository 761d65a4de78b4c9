"""The state table of a test. It drives itself from the pressures; marks of the operator steer it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from daq.procedure.engine import EngineOrder
from daq.procedure.tap_effect import tap_effect
from daq.records import (
    AirChange,
    AirState,
    CylinderDone,
    Event,
    Fault,
    Marked,
    MarkKind,
    Session,
    StableReading,
    Tap,
    TestDone,
)


class Phase(StrEnum):
    """Where the work on one cylinder stands; the value is the public word."""

    WAIT_AIR = "wait-air"
    SETTLE = "settle"
    AS_FOUND = "as-found"
    RESETTLE = "resettle"
    AFTER_TAP = "after-tap"
    DONE = "done"


class Trigger(StrEnum):
    AIR_ON = "air-on"
    AIR_OFF = "air-off"
    STABLE = "stable"
    TAP = "tap"
    NEXT = "next"
    SKIP = "skip"
    AGAIN = "again"
    CYLINDER = "cylinder"


P, T = Phase, Trigger
AIR_LOST = "The air went before the reading was stable."
AIR_LOST_TODO = "If that was not you, check hose and coupling; the cylinder is tested again as soon as the air is back."

# (phase, trigger) -> (next phase, what is done). What is not listed changes nothing.
# "finish" and "advance" move to the next cylinder, or to DONE after the last.
TABLE: dict[tuple[Phase, Trigger], tuple[Phase, str]] = {
    (P.WAIT_AIR, T.AIR_ON): (P.SETTLE, "begin"),
    (P.SETTLE, T.STABLE): (P.AS_FOUND, "capture"),
    (P.SETTLE, T.AIR_OFF): (P.WAIT_AIR, "lose_air"),
    (P.AS_FOUND, T.TAP): (P.RESETTLE, "count_tap"),
    (P.AS_FOUND, T.AIR_OFF): (P.WAIT_AIR, "finish"),
    (P.RESETTLE, T.TAP): (P.RESETTLE, "count_tap"),
    (P.RESETTLE, T.STABLE): (P.AFTER_TAP, "capture_after"),
    (P.RESETTLE, T.AIR_OFF): (P.WAIT_AIR, "finish"),
    (P.AFTER_TAP, T.TAP): (P.RESETTLE, "count_tap"),
    (P.AFTER_TAP, T.STABLE): (P.AFTER_TAP, "capture_after"),
    (P.AFTER_TAP, T.AIR_OFF): (P.WAIT_AIR, "finish"),
    (P.WAIT_AIR, T.NEXT): (P.WAIT_AIR, "advance"),
    (P.SETTLE, T.NEXT): (P.WAIT_AIR, "advance"),
    (P.AS_FOUND, T.NEXT): (P.WAIT_AIR, "finish"),
    (P.RESETTLE, T.NEXT): (P.WAIT_AIR, "finish"),
    (P.AFTER_TAP, T.NEXT): (P.WAIT_AIR, "finish"),
    (P.WAIT_AIR, T.AGAIN): (P.WAIT_AIR, "take_back"),
    (P.DONE, T.AGAIN): (P.WAIT_AIR, "take_back"),
    (P.SETTLE, T.AGAIN): (P.SETTLE, "begin"),
    (P.AS_FOUND, T.AGAIN): (P.SETTLE, "begin"),
    (P.RESETTLE, T.AGAIN): (P.SETTLE, "begin"),
    (P.AFTER_TAP, T.AGAIN): (P.SETTLE, "begin"),
    **{(phase, T.SKIP): (P.WAIT_AIR, "skip") for phase in P if phase is not P.DONE},
    **{(phase, T.CYLINDER): (phase, "rename") for phase in P if phase is not P.DONE},
    (P.DONE, T.CYLINDER): (P.WAIT_AIR, "rename"),
}


@dataclass(frozen=True, slots=True)
class Work:
    """What has been seen of the cylinder under test since its air went on; `new_taps` came after the newest capture."""

    as_found: StableReading | None = None
    after_tap: StableReading | None = None
    taps: int = 0
    new_taps: int = 0


class Procedure:
    """Takes the events of the measurement one by one; gives them back, labelled, with those of the test."""

    def __init__(self, engine: EngineOrder) -> None:
        self._engine = engine
        self.phase = Phase.WAIT_AIR
        self.cylinder: int | None = engine.firing_order[0]
        self._air = AirState.OFF
        self._work = Work()
        self._done: dict[int, CylinderDone] = {}

    def feed(self, event: Event) -> list[Event]:
        """The event itself (a stable reading now names cylinder and phase), then what follows from it."""
        trigger = self._trigger(event)
        if trigger is None or (self.phase, trigger) not in TABLE:
            return [self._labelled(event)]
        before = (self.phase, self.cylinder)
        self.phase, action = TABLE[self.phase, trigger]
        labelled = self._labelled(event)
        follow = self._act(action, labelled)
        if (self.phase, self.cylinder) != before:
            follow.append(self.session(event.segment, event.t_s))
        return [labelled, *follow]

    def _trigger(self, event: Event) -> Trigger | None:
        """Air that was on already and is told again, as after a restart of the board, is no new air."""
        if not isinstance(event, AirChange):
            return _trigger_of(event)
        again = self._air is event.state
        self._air = event.state
        return None if again else _trigger_of(event)

    def session(self, segment: int, t_s: float) -> Session:
        """Where the test stands now, as a record."""
        following = self._engine.after(self.cylinder) if self.cylinder else None
        return Session(segment, t_s, self._engine.name, self.cylinder, self.phase.value, following)

    def _labelled(self, event: Event) -> Event:
        if isinstance(event, StableReading) and self.phase not in (Phase.WAIT_AIR, Phase.DONE):
            return replace(event, cylinder=self.cylinder, phase=self.phase.value)
        return event

    def _act(self, action: str, event: Event) -> list[Event]:
        actions: dict[str, Callable[[Event], list[Event]]] = {
            "begin": self._begin,
            "lose_air": self._lose_air,
            "capture": self._capture,
            "capture_after": self._capture_after,
            "count_tap": self._count_tap,
            "finish": self._finish,
            "advance": self._advance,
            "skip": self._skip,
            "take_back": self._take_back,
            "rename": self._rename,
        }
        return actions[action](event)

    def _begin(self, event: Event) -> list[Event]:
        self._work = Work()
        return []

    def _lose_air(self, event: Event) -> list[Event]:
        """Vented before anything was stable: the mechanic knows why, or the hose came off."""
        self._work = Work()
        return [
            Fault(event.segment, event.t_s, "air-lost", "The air went before the reading was stable.", AIR_LOST_TODO)
        ]

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

    def _count_tap(self, event: Event) -> list[Event]:
        self._work = replace(self._work, taps=self._work.taps + 1, new_taps=self._work.new_taps + 1)
        return []

    def _finish(self, event: Event) -> list[Event]:
        work, cylinder = self._work, self.cylinder
        assert cylinder is not None and work.as_found is not None
        done = CylinderDone(event.segment, event.t_s, cylinder, work.as_found, work.after_tap, work.taps)
        self._done[cylinder] = done
        return [done, *self._advance(event)]

    def _advance(self, event: Event) -> list[Event]:
        assert self.cylinder is not None
        self._work = Work()
        following = self._engine.after(self.cylinder)
        if following is not None:
            self.cylinder = following
            return []
        self.phase, self.cylinder = Phase.DONE, None
        results = tuple(self._done[c] for c in self._engine.firing_order if c in self._done)
        return [TestDone(event.segment, event.t_s, self._engine.name, results)]

    def _skip(self, event: Event) -> list[Event]:
        """No result for this cylinder, also not an earlier one."""
        assert self.cylinder is not None
        self._done.pop(self.cylinder, None)
        return self._advance(event)

    def _take_back(self, event: Event) -> list[Event]:
        """Between two cylinders, `again` means the one that was just finished; its result is taken back."""
        last = self._engine.firing_order[-1] if self.cylinder is None else self._engine.before(self.cylinder)
        self.cylinder = last if last is not None else self._engine.firing_order[0]
        self._done.pop(self.cylinder, None)
        self._work = Work()
        return []

    def _rename(self, event: Event) -> list[Event]:
        """The cylinder on the hose is the one that the mark's text names; what was captured of it stays.

        A number that the engine does not have changes nothing.
        """
        assert isinstance(event, Marked)
        number = int(event.text) if event.text.isascii() and event.text.isdecimal() else 0
        if number in self._engine.firing_order:
            if self.cylinder is None:  # all was done: another test begins
                self._done.clear()
            self.cylinder = number
            self._work = _renumbered(self._work, number)
        elif self.cylinder is None:
            self.phase = Phase.DONE
        return []


def _renumbered(work: Work, number: int) -> Work:
    as_found, after_tap = work.as_found, work.after_tap
    return replace(
        work,
        as_found=as_found and replace(as_found, cylinder=number),
        after_tap=after_tap and replace(after_tap, cylinder=number),
    )


def _trigger_of(event: Event) -> Trigger | None:
    match event:
        case AirChange(state=AirState.ON):
            return Trigger.AIR_ON
        case AirChange():
            return Trigger.AIR_OFF
        case StableReading():
            return Trigger.STABLE
        case Tap():
            return Trigger.TAP
        case Marked(kind=kind) if kind in _MARKS:
            return _MARKS[kind]
        case _:
            return None


_MARKS: dict[str, Trigger] = {
    MarkKind.NEXT: Trigger.NEXT,
    MarkKind.SKIP: Trigger.SKIP,
    MarkKind.AGAIN: Trigger.AGAIN,
    MarkKind.CYLINDER: Trigger.CYLINDER,
}
