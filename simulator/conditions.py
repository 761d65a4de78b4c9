"""What is wrong with an engine, as tables of a scenario: `what` names it, and it adds to the leaks of its cylinders.

Areas are effective ones, in mm2. The figures of the shipped scenarios are invented, of the size that common practice
expects (no source).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Annotated, Literal

from pydantic import Field, model_validator

from simulator.engine import CylinderNumber
from simulator.physics.leaks import LeakPath, Leaks
from simulator.section import Positive, Section
from simulator.units import MM2

Valve = Literal["intake", "exhaust"]


class Condition(Section, ABC):
    """One thing that is wrong."""

    @property
    @abstractmethod
    def cylinders(self) -> list[int] | None:
        """Those that suffer; None for all."""

    @abstractmethod
    def worsen(self, leaks: Leaks) -> None:
        """What it does to the leaks of one cylinder that suffers."""

    def on(self, number: int) -> bool:
        return self.cylinders is None or number in self.cylinders


class _OnValve(Condition):
    """One valve of one cylinder."""

    cylinder: CylinderNumber
    valve: Valve = "exhaust"
    area_mm2: Positive

    @property
    def cylinders(self) -> list[int]:
        return [self.cylinder]


class BurntValve(_OnValve):
    """A valve that does not seal any more; taps do not help."""

    what: Literal["burnt_valve"]

    def worsen(self, leaks: Leaks) -> None:
        leaks.widen(LeakPath(self.valve), self.area_mm2 * MM2)


class Debris(_OnValve):
    """Something on the seat of a valve; taps may clear it (`clears` of the taps says how much each takes away)."""

    what: Literal["debris"]

    def worsen(self, leaks: Leaks) -> None:
        leaks.lodge(LeakPath(self.valve), self.area_mm2 * MM2)


class WornRings(Condition):
    """Rings and bores are worn: on every cylinder the leak to the crankcase is so many times as large."""

    what: Literal["worn_rings"]
    times: Annotated[float, Field(gt=1.0, le=100.0)]

    @property
    def cylinders(self) -> None:
        return None

    def worsen(self, leaks: Leaks) -> None:
        leaks.multiply(LeakPath.CRANKCASE, self.times)


class ColdEngine(Condition):
    """The engine has not been run: ring gaps are wide and the oil has drained, so that on every cylinder the leak to
    the crankcase is so many times as large as when it is warm. How many is a judgement, no source; the valves stay as
    they are. (The wall of the cylinder is a matter of `bench.wall_c`.)"""

    what: Literal["cold_engine"]
    rings_times: Annotated[float, Field(gt=1.0, le=5.0)]

    @property
    def cylinders(self) -> None:
        return None

    def worsen(self, leaks: Leaks) -> None:
        leaks.multiply(LeakPath.CRANKCASE, self.rings_times)


class HeadGasket(Condition):
    """The gasket is gone between two neighbours: each lets its air into the other, whose plug is out."""

    what: Literal["head_gasket"]
    between: Annotated[list[CylinderNumber], Field(min_length=2, max_length=2)]
    area_mm2: Positive

    @model_validator(mode="after")
    def _two_cylinders(self) -> HeadGasket:
        if self.between[0] == self.between[1]:
            raise ValueError("between names two cylinders")
        return self

    @property
    def cylinders(self) -> list[int]:
        return self.between

    def worsen(self, leaks: Leaks) -> None:
        leaks.widen(LeakPath.NEXT_CYLINDER, self.area_mm2 * MM2)


AnyCondition = Annotated[BurntValve | Debris | WornRings | ColdEngine | HeadGasket, Field(discriminator="what")]
