"""The engine of a scenario: its geometry, its cylinders, and where the crank stands for each of them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from simulator.section import NonNegative, Positive, Section

PathName = Literal["intake", "exhaust", "crankcase", "coolant", "next_cylinder"]
CylinderNumber = Annotated[int, Field(ge=1, le=99)]

_CYCLE_DEG, _HALF_CYCLE_DEG = 720.0, 360.0


class EngineSection(Section):
    """The engine on the bench, a four-stroke that fires at even intervals. All that are shipped are invented."""

    name: str
    order: list[CylinderNumber]
    bore_mm: Positive = 86.0
    stroke_mm: Positive = 86.0
    rod_mm: Positive = 143.0
    clearance_cc: Positive = 55.0
    friction_n_m: NonNegative = 15.0
    inertia_kg_m2: Positive = 0.2
    exhaust_opens_deg: Annotated[float, Field(gt=0.0, lt=180.0)] = 130.0
    exhaust_area_mm2: Positive = 200.0

    @model_validator(mode="after")
    def _rod_is_long_enough(self) -> EngineSection:
        if self.rod_mm <= 0.5 * self.stroke_mm:
            raise ValueError("rod_mm must be longer than half of stroke_mm")
        return self

    @model_validator(mode="after")
    def _order_names_each_once(self) -> EngineSection:
        if len(set(self.order)) < len(self.order):
            raise ValueError("order names each cylinder once")
        return self

    def placed_for(self, first: int, steps: int) -> int:
        """The cylinder at top dead centre of its compression, `steps` firing intervals after `first`."""
        return self.order[(self.order.index(first) + steps) % len(self.order)]

    def off_tdc_deg(self, cylinder: int, placed_for: int) -> float:
        """Crank degrees past this cylinder's own top dead centre of compression, above -360 and up to 360, when the
        crank stands at that of `placed_for`."""
        intervals = self.order.index(placed_for) - self.order.index(cylinder)
        turned_deg = intervals * _CYCLE_DEG / len(self.order)
        return _HALF_CYCLE_DEG - (_HALF_CYCLE_DEG - turned_deg) % _CYCLE_DEG


class CylinderSection(Section):
    """Effective area of each leak path, and of debris that taps may clear from a valve seat."""

    number: CylinderNumber
    leaks_mm2: dict[PathName, NonNegative] = Field(default_factory=dict)
    debris_mm2: dict[Literal["intake", "exhaust"], NonNegative] = Field(default_factory=dict)
    off_tdc_deg: Annotated[float, Field(gt=-90.0, lt=90.0)] = 0.0
