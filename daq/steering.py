"""The door for what an operator asks of a running test: what makes no sense now is refused, with the reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from daq.errors import UsageError
from daq.procedure import EngineOrder, TestPlan, plan_from
from daq.procedure.finding import words_of
from daq.procedure.states import meaningless
from daq.records import Delivery, Mark, MarkKind, Session, TestStarted


class Steering:
    """Follows where the test stands; `plan_of` makes a plan of the text of a request (see `daq.planning`)."""

    def __init__(self, plan_of: Callable[[str], TestPlan], engine: EngineOrder) -> None:
        self._plan_of, self._engine = plan_of, engine
        self._session: Session | None = None

    def observe(self, delivery: Delivery) -> None:
        for record in delivery.records:
            match record:
                case Session():
                    self._session = record
                case TestStarted(plan=text):
                    self._engine = plan_from(text).engine

    def checked(self, mark: Mark) -> Mark:
        """The mark as it may enter the pipeline. UsageError if it would change nothing or cannot be understood."""
        phase = self._session.phase if self._session else ""
        if reason := meaningless(phase, mark.kind):
            raise UsageError(reason)
        match mark.kind:
            case MarkKind.START:
                return replace(mark, text=self._plan_of(mark.text).to_text())
            case MarkKind.HEARD:
                self._must_have(words_of(mark.text).cylinder)
            case MarkKind.CYLINDER:
                self._must_have(int(mark.text) if mark.text.isascii() and mark.text.isdecimal() else 0)
        return mark

    def _must_have(self, cylinder: int | None) -> None:
        if cylinder is not None and cylinder not in self._engine.firing_order:
            cylinders = ", ".join(map(str, sorted(self._engine.firing_order)))
            raise UsageError(f"This engine has no cylinder {cylinder}; it has {cylinders}.")
