"""How far one test of an engine has come: what has been captured, what counts, and what was taken back."""

from __future__ import annotations

from dataclasses import dataclass, replace

from daq.measure.budget import difference
from daq.procedure.finding import Words
from daq.procedure.plan import TestPlan
from daq.procedure.tap_effect import tap_effect
from daq.records import CylinderDone, Event, Fault, Finding, StableReading, TakenBack, TestDone, TestStarted, Withdrawn

AIR_LOST = "The air went before the reading was stable."
CHANGED_PCT, CHANGED_U = 1.0, 4.0
"""A change without a tap is told above so many points, and so many of its standard uncertainties."""
CHANGED_NEXT = "If the hose is on another cylinder now, say `again`, then `cylinder` and its number; else say `again`."
AIR_LOST_NEXT = "If that was not you, check hose and coupling; the cylinder is tested again as soon as the air is back."


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


class Course:
    """The course of one test. Its deeds give the events that follow from them; when they are done is not known here.

    `cylinder` is the one on the hose, or the next; None once the test is over.
    """

    def __init__(self, plan: TestPlan, started: bool = False) -> None:
        self.plan = plan
        self.cylinder: int | None = plan.engine.firing_order[0]
        self.done: dict[int, CylinderDone] = {}
        self.skipped: set[int] = set()
        self._work = Work()
        self._attempts: dict[int, int] = {}
        self._findings = 0
        self._journal: list[Entry] = []
        self._last: int | None = None
        self._started, self._ended = started, False

    @property
    def is_open(self) -> bool:
        return self._started and not self._ended

    @property
    def tapped(self) -> bool:
        """The cylinder under test has been tapped."""
        return self._work.taps > 0

    @property
    def attempt(self) -> int:
        """How often the cylinder on the hose has been put under air."""
        return 0 if self.cylinder is None else self._attempts.get(self.cylinder, 0)

    def counting(self) -> dict[int, tuple[StableReading, StableReading | None]]:
        """What counts of each cylinder now, as found and after taps: a capture of the one under test replaces its
        result."""
        counting = {cylinder: (done.as_found, done.after_tap) for cylinder, done in self.done.items()}
        if self.cylinder is not None and self._work.as_found is not None:
            counting[self.cylinder] = (self._work.as_found, self._work.after_tap)
        return counting

    # ---- the test as a whole

    def open(self, event: Event) -> list[Event]:
        """A test that began by itself is told before the first that happens in it, air or mark."""
        if self._started:
            return []
        self._started = True
        plan = self.plan
        return [TestStarted(event.segment, event.t_s, plan.test, plan.engine.name, plan.to_text())]

    def end(self, event: Event) -> list[Event]:
        """What has been captured counts; what has not been reached is missing."""
        captured = self._result(event) if self._work.as_found is not None else []
        return [*captured, *self._close(event)]

    def _close(self, event: Event) -> list[Event]:
        order = self.plan.engine.firing_order
        self._last = self._last or self.cylinder
        self.cylinder, self._ended = None, True
        results = tuple(self.done[cylinder] for cylinder in order if cylinder in self.done)
        skipped = tuple(cylinder for cylinder in order if cylinder in self.skipped)
        complete = len(results) + len(skipped) == len(order)
        done = TestDone(event.segment, event.t_s, self.plan.engine.name, results, self.plan.test, skipped, complete)
        return [done]

    # ---- one cylinder

    def begin(self, event: Event) -> list[Event]:
        assert self.cylinder is not None
        self._work = Work()
        self._attempts[self.cylinder] = self._attempts.get(self.cylinder, 0) + 1
        return []

    def begin_again(self, event: Event) -> list[Event]:
        discarded = self._attempt_withdrawn(event, "repeated")
        return [*discarded, *self.begin(event)]

    def discard(self, event: Event) -> list[Event]:
        discarded = self._attempt_withdrawn(event, "the crank moved")
        self._work = Work()
        return discarded

    def _attempt_withdrawn(self, event: Event, reason: str) -> list[Event]:
        """An attempt at which nothing was captured leaves nothing to withdraw."""
        if self._work.as_found is None or self.cylinder is None:
            return []
        number = self._attempts.get(self.cylinder, 1)
        return [Withdrawn(event.segment, event.t_s, TakenBack.ATTEMPT, self.cylinder, number, reason)]

    def lose_air(self, event: Event) -> list[Event]:
        """Vented before anything was stable: the mechanic knows why, or the hose came off."""
        self._work = Work()
        return [Fault(event.segment, event.t_s, "air-lost", AIR_LOST, AIR_LOST_NEXT)]

    def capture(self, event: Event) -> list[Event]:
        assert isinstance(event, StableReading)
        self._work = replace(self._work, as_found=event)
        return []

    def compare(self, event: Event) -> list[Event]:
        """As found is what was found first. Another loss without a tap is another cylinder on the hose, as after a time
        in which nobody looked, or something that moved."""
        assert isinstance(event, StableReading) and self._work.as_found is not None
        before = self._work.as_found
        change_pct, u_pct = difference(before, event)
        if abs(change_pct) <= max(CHANGED_PCT, CHANGED_U * u_pct):
            return []
        seen = (
            f"{before.loss_at_set_pct:.1f} % were captured, {event.loss_at_set_pct:.1f} % are read now, without a tap."
        )
        return [Fault(event.segment, event.t_s, "reading-changed", seen, CHANGED_NEXT)]

    def capture_after(self, event: Event) -> list[Event]:
        """The newest reading counts; the first one after taps tells what they did."""
        assert isinstance(event, StableReading)
        before, taps = self._work.after_tap or self._work.as_found, self._work.new_taps
        self._work = replace(self._work, after_tap=event, new_taps=0)
        return [tap_effect(before, event, taps)] if before is not None and taps else []

    def count_tap(self, event: Event) -> list[Event]:
        self._work = replace(self._work, taps=self._work.taps + 1, new_taps=self._work.new_taps + 1)
        return []

    # ---- from one cylinder to another

    def finish(self, event: Event) -> list[Event]:
        return [*self._result(event), *self.advance(event)]

    def _result(self, event: Event) -> list[Event]:
        """Of a cylinder that was done before, by its number, the newer result counts."""
        work, cylinder = self._work, self.cylinder
        assert cylinder is not None and work.as_found is not None
        attempt = self._attempts.get(cylinder, 1)
        done = CylinderDone(event.segment, event.t_s, cylinder, work.as_found, work.after_tap, work.taps, attempt)
        before = self._withdraw_result(event, cylinder, "repeated")
        self._work = Work()
        self.done[cylinder] = done
        self.skipped.discard(cylinder)
        self._journal.append(Entry(TakenBack.RESULT, cylinder, attempt))
        return [*before, done]

    def following(self) -> int | None:
        """The next of the order without a result, beginning anew at its front; None when there is none."""
        order = self.plan.engine.firing_order
        if self.cylinder is None:
            return None
        place = order.index(self.cylinder) + 1
        rest = (each for each in (*order[place:], *order[: place - 1]))
        return next((each for each in rest if each not in self.done and each not in self.skipped), None)

    def advance(self, event: Event) -> list[Event]:
        self._work = Work()
        self._last, following = self.cylinder, self.following()
        if following is None:
            return self._close(event)
        self.cylinder = following
        return []

    def skip(self, event: Event) -> list[Event]:
        """No result for this cylinder, also not an earlier one."""
        assert self.cylinder is not None
        withdrawn = [
            *self._attempt_withdrawn(event, "skipped"),
            *self._withdraw_result(event, self.cylinder, "skipped"),
        ]
        self.skipped.add(self.cylinder)
        self._journal.append(Entry(TakenBack.SKIP, self.cylinder, 1))
        return [*withdrawn, *self.advance(event)]

    def renumber(self, number: int, begun: bool) -> None:
        """The cylinder on the hose is `number`; what was captured of it stays. `begun`: it is under air already."""
        assert self.cylinder is not None
        if begun and number != self.cylinder:
            self._attempts[self.cylinder] = max(self._attempts.get(self.cylinder, 1) - 1, 0)
            self._attempts[number] = self._attempts.get(number, 0) + 1
        self.cylinder = number
        self._work = _renumbered(self._work, number)

    # ---- what is noted, and taken back

    def note(self, event: Event, words: Words, under_air: bool) -> list[Event]:
        """Of the cylinder that is named, else of the one under air, else of the last that was."""
        meant = self.cylinder if under_air or self._last is None else self._last
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

    def take_back(self, event: Event) -> list[Event]:
        """Between two cylinders, `again` means the one that was just finished; its result is taken back."""
        last = self._last or (self.cylinder and self.plan.engine.before(self.cylinder)) or self.cylinder
        assert last is not None
        withdrawn = self._withdraw_result(event, last, "repeated")
        self._return_to(last)
        return withdrawn

    def _withdraw_result(self, event: Event, cylinder: int, reason: str) -> list[Event]:
        done = self.done.pop(cylinder, None)
        if done is None:
            return []
        self._journal = [e for e in self._journal if (e.what, e.cylinder) != (TakenBack.RESULT, cylinder)]
        return [Withdrawn(event.segment, event.t_s, TakenBack.RESULT, cylinder, done.attempt, reason)]

    def _return_to(self, cylinder: int) -> None:
        self.cylinder, self._work = cylinder, Work()
        self._last, self._ended = None, False

    @property
    def newest(self) -> TakenBack | None:
        """What was noted last, and not taken back."""
        return self._journal[-1].what if self._journal else None

    def undo(self, event: Event) -> list[Event]:
        """The newest thing that was noted: a result, that a cylinder was skipped, or a finding."""
        if not self._journal:
            return []
        entry = self._journal.pop()
        if entry.what is TakenBack.RESULT:
            self._return_to(entry.cylinder)
            return self._withdraw_result(event, entry.cylinder, "taken back")
        withdrawn = Withdrawn(event.segment, event.t_s, entry.what, entry.cylinder, entry.number, "taken back")
        if entry.what is TakenBack.SKIP:
            self.skipped.discard(entry.cylinder)
            self._return_to(entry.cylinder)
        return [withdrawn]

    def undo_finding(self, event: Event) -> list[Event]:
        """Under air only a finding is taken back; the capture itself is begun again by `again`."""
        return self.undo(event) if self.newest is TakenBack.FINDING else []


def _renumbered(work: Work, number: int) -> Work:
    as_found, after_tap = work.as_found, work.after_tap
    return replace(
        work,
        as_found=as_found and replace(as_found, cylinder=number),
        after_tap=after_tap and replace(after_tap, cylinder=number),
    )
