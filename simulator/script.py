"""What a careful mechanic does with each cylinder, as a table of a scenario and as the actions that follow from it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from simulator.actions import Action, Air, Connect, SetPoint, Tap, TapBlows, Vent
from simulator.engine import CylinderNumber, EngineSection
from simulator.section import NonNegative, Positive, Section


class Departure(Section):
    """Where the script is different for one cylinder."""

    number: CylinderNumber
    hold_s: NonNegative | None = None
    after_tap_s: NonNegative | None = None
    tap: TapBlows | None = None


class ScriptSection(Section):
    """For each cylinder: turn the crank by one firing interval, connect, open the air, hold, tap, hold again, vent.

    The soft step, on the `first` cylinder, on `all` or on `none`: the air comes at `soft_psi` and stays there for
    `soft_s`, which shows that the crank holds; then the regulator is turned to the set point within `turn_s`. `order`
    is the one in which the mechanic connects, where that is not the firing order: the crank does not stand right then.
    """

    lead_in_s: NonNegative = 1.5
    connect_s: NonNegative = 0.5
    air_ramp_s: NonNegative = 0.4
    soft: Literal["first", "all", "none"] = "none"
    soft_psi: Positive = 15.0
    soft_s: NonNegative = 3.0
    turn_s: NonNegative = 1.5
    hold_s: NonNegative = 6.0
    after_tap_s: NonNegative = 4.2
    vent_s: NonNegative = 2.5
    tap: TapBlows = TapBlows(count=2)
    cylinder: list[Departure] = Field(default_factory=list)
    order: Annotated[list[CylinderNumber], Field(min_length=1)] | None = None

    def is_soft(self, step: int) -> bool:
        """Whether the air comes gently on the cylinder of this step, counted from 0."""
        return self.soft == "all" or (self.soft == "first" and step == 0)


class Script:
    """The script on one engine, ending at one set point."""

    def __init__(self, section: ScriptSection, engine: EngineSection, set_point_psi: float) -> None:
        self._section, self._engine, self._set_point_psi = section, engine, set_point_psi
        self.order = section.order or engine.order

    def off_tdc_deg(self, step: int) -> float:
        """Where the crank stands for the cylinder of this step, in degrees from its own top dead centre."""
        return self._engine.off_tdc_deg(self.order[step], self._engine.placed_for(self.order[0], step))

    def actions(self) -> list[tuple[float, Action]]:
        """Each action with its time."""
        return [(at_s, action) for at_s, _, action in self._timed()]

    @property
    def length_s(self) -> float:
        """When all is over."""
        return max((at_s + lasts_s for at_s, lasts_s, _ in self._timed()), default=0.0)

    def _timed(self) -> Iterator[tuple[float, float, Action]]:
        at_s = self._section.lead_in_s
        for step in range(len(self.order)):
            for lasts_s, action in self._on_cylinder(step):
                yield at_s, lasts_s, action
                at_s += lasts_s

    def _on_cylinder(self, step: int) -> Iterator[tuple[float, Action]]:
        """Each action, and how long it is until the next one."""
        script = self._section
        hold_s, tap, after_tap_s = self._steps(self.order[step])
        yield script.connect_s, self._connect(step)
        air = Air(do="air", ramp_s=script.air_ramp_s)
        if script.is_soft(step):
            yield script.air_ramp_s + script.soft_s, air
            yield script.turn_s + hold_s, self._turn(self._set_point_psi)
        else:
            yield script.air_ramp_s + hold_s, air
        yield tap.count * tap.every_s + after_tap_s, Tap(do="tap", **tap.model_dump())
        yield from self._leave(step)

    def _leave(self, step: int) -> Iterator[tuple[float, Action]]:
        """Let the air out; turn the regulator back where the next cylinder begins gently."""
        vent = Vent(do="vent")
        if step + 1 < len(self.order) and self._section.is_soft(step + 1):
            yield 0.0, vent
            yield self._section.vent_s, self._turn(self._section.soft_psi)
        else:
            yield self._section.vent_s, vent

    def _connect(self, step: int) -> Connect:
        return Connect(do="connect", cylinder=self.order[step], off_tdc_deg=self.off_tdc_deg(step))

    def _turn(self, to_psi: float) -> SetPoint:
        return SetPoint(do="set_point", to_psi=to_psi, over_s=self._section.turn_s)

    def _steps(self, number: int) -> tuple[float, TapBlows, float]:
        """Hold, taps and hold after them, for this cylinder."""
        script = self._section
        own = next((one for one in script.cylinder if one.number == number), Departure(number=number))
        hold_s = script.hold_s if own.hold_s is None else own.hold_s
        after_tap_s = script.after_tap_s if own.after_tap_s is None else own.after_tap_s
        return hold_s, own.tap or script.tap, after_tap_s
