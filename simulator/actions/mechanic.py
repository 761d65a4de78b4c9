"""What a mechanic does."""

from __future__ import annotations

from collections.abc import Iterator
from math import radians
from typing import Annotated, Literal

from pydantic import Field

from simulator.actions.base import Action, Lasting, Rig
from simulator.board import MARK_BUTTON
from simulator.physics.leaks import LeakPath
from simulator.section import Fraction, NonNegative, Positive, Section
from simulator.units import MM2, MS, PSI

Valve = Literal["intake", "exhaust"]


class Connect(Action):
    """Screw the hose into a cylinder. `off_tdc_deg` is where the crank stands, from the top dead centre of compression
    of this cylinder, beside what the cylinder itself says."""

    do: Literal["connect"]
    cylinder: int
    off_tdc_deg: Annotated[float, Field(ge=-360.0, le=360.0)] = 0.0

    def begin(self, rig: Rig) -> None:
        rig.bench.connect(self.cylinder, radians(self.off_tdc_deg))


class Air(Action):
    """Open the air, slowly."""

    do: Literal["air"]
    ramp_s: NonNegative = 0.4

    def begin(self, rig: Rig) -> None:
        rig.bench.open_air(self.ramp_s)


class Vent(Action):
    """Shut the air and let the cylinder out."""

    do: Literal["vent"]

    def begin(self, rig: Rig) -> None:
        rig.bench.vent()


class Turn(Lasting):
    """Take the crank in hand, turn it evenly within `for_s`, whatever the pressure, and let it go then. Angles are from
    the top dead centre of compression of the connected cylinder."""

    do: Literal["turn"]
    to_deg: Annotated[float, Field(ge=-360.0, le=360.0)]

    def begin(self, rig: Rig) -> None:
        rig.bench.crank.take(radians(self.to_deg), self.for_s)

    def end(self, rig: Rig) -> None:
        rig.bench.crank.let_go()


class TapBlows(Section):
    """Blows of a mallet that each open a valve for a moment, clear a fraction of what debris is left there, and may
    leave some that was not there before."""

    count: Annotated[int, Field(ge=0)] = 1
    every_s: Positive = 1.4
    open_ms: Positive = 10.0
    area_mm2: Positive = 5.0
    path: Valve = "exhaust"
    clears: Fraction = 0.0
    lodges_mm2: NonNegative = 0.0


class Tap(Action, TapBlows):
    """Tap on a valve of the connected cylinder."""

    do: Literal["tap"]

    def spans(self) -> Iterator[tuple[float, float | None]]:
        for blow in range(self.count):
            yield blow * self.every_s, self.open_ms * MS

    def begin(self, rig: Rig) -> None:
        rig.bench.open_valve(self.area_mm2 * MM2)

    def end(self, rig: Rig) -> None:
        rig.bench.close_valve(LeakPath(self.path), self.clears, self.lodges_mm2 * MM2)


class SetPoint(Action):
    """Turn the regulator to another set point, evenly within `over_s`."""

    do: Literal["set_point"]
    to_psi: NonNegative
    over_s: NonNegative = 0.0

    def begin(self, rig: Rig) -> None:
        rig.bench.regulator.turn(self.to_psi * PSI, self.over_s)


class Press(Lasting):
    """Press a button of the board; 1 is the mark button."""

    do: Literal["press"]
    button: Annotated[int, Field(ge=1, le=255)] = MARK_BUTTON
    for_s: Positive = 0.2

    def begin(self, rig: Rig) -> None:
        rig.board.press(self.button, True)

    def end(self, rig: Rig) -> None:
        rig.board.press(self.button, False)
