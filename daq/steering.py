"""The door for what an operator asks of a running test: what makes no sense now is refused, with the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from daq.errors import UsageError
from daq.procedure import EngineOrder, TestPlan, plan_from
from daq.procedure.finding import named_cylinders, one_line
from daq.procedure.states import Phase, meaningful, meaningless
from daq.records import Delivery, Mark, MarkKind, Record, Session, TestStarted


class Steering:
    """Follows where the test stands; `plan_of` makes a plan of the text of a request (see `daq.planning`), `engine` is
    that of tests which begin by themselves.
    """

    def __init__(self, plan_of: Callable[[str], TestPlan], engine: EngineOrder) -> None:
        self._plan_of, self._default, self._engine = plan_of, engine, engine
        self._session: Session | None = None
        self._tests: set[str] = set()  # asked for or begun, stored or not yet

    def observe(self, delivery: Delivery) -> None:
        self.recall(delivery.records)

    def recall(self, records: Iterable[Record]) -> None:
        """Also what a run before had done of a test that is gone on with."""
        for record in records:
            match record:
                case Session():
                    self._session = record
                case TestStarted(plan=text, test=test):
                    self._engine = plan_from(text).engine
                    self._tests.add(test)

    def checked(self, mark: Mark) -> Mark:
        """The mark as it may enter the pipeline. UsageError if it would change nothing or cannot be understood."""
        phase, can_undo = (self._session.phase, self._session.can_undo) if self._session else (Phase.WAIT_AIR, False)
        if reason := meaningless(phase, mark.kind, can_undo):
            raise UsageError(reason, f"What means something now: {', '.join(meaningful(phase, can_undo))}.")
        if mark.kind == MarkKind.START:
            return replace(mark, text=self._planned(mark.text).to_text())
        begins = phase == Phase.DONE and mark.kind == MarkKind.CYLINDER  # another test
        engine = self._default if begins else self._engine
        for number in named_cylinders(mark.kind, mark.text):
            _must_have(engine, number)
        return replace(mark, text=one_line(mark.text))

    def _planned(self, request: str) -> TestPlan:
        plan = self._plan_of(request)
        if plan.test in self._tests:
            raise name_is_taken(plan.test)
        self._tests.add(plan.test)
        return plan


def name_is_taken(test: str) -> UsageError:
    """Everything is asked for by the name of its test."""
    return UsageError(f"There is a test {test!r} already.", "Give this one another name.")


def _must_have(engine: EngineOrder, cylinder: int) -> None:
    if cylinder not in engine.firing_order:
        cylinders = ", ".join(map(str, sorted(engine.firing_order)))
        raise UsageError(
            f"This engine has no cylinder {cylinder}; it has {cylinders}.",
            "Name one of these, or start a test of the engine that is on the bench.",
        )
