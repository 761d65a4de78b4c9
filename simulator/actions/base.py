"""What all actions have in common: when they happen, and what they act on."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import Annotated, Protocol

from pydantic import Field

from simulator.board import Board
from simulator.line import Line
from simulator.physics.bench import Bench
from simulator.physics.front_end import FrontEnd
from simulator.section import NonNegative, Positive, Section

Count = Annotated[int, Field(ge=1)]


class Rig(Protocol):
    """What actions act on."""

    bench: Bench
    front_end: FrontEnd
    board: Board
    line: Line

    def pull_cable(self) -> None: ...

    def put_cable_back(self) -> None: ...


class Action(Section, ABC):
    """When it happens: `at_s` from the start of the scenario; or `after_s` from the action before it in the file; or
    `after_s` from the moment the air was opened on cylinder `after_air_on`."""

    at_s: NonNegative | None = None
    after_s: NonNegative | None = None
    after_air_on: int | None = None

    def spans(self) -> Iterator[tuple[float, float | None]]:
        """Offset from the time of the action, and duration (None: it has no end), of each of its parts."""
        yield 0.0, None

    @abstractmethod
    def begin(self, rig: Rig) -> None:
        """Do it, or begin to."""

    def end(self, rig: Rig) -> None:
        """Only actions that last have something to undo."""


class Lasting(Action):
    """An action that goes on for `for_s` seconds."""

    for_s: Positive

    def spans(self) -> Iterator[tuple[float, float | None]]:
        yield 0.0, self.for_s
