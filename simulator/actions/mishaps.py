"""What goes wrong on the bench."""

from __future__ import annotations

from math import radians
from typing import Annotated, Literal

from pydantic import Field

from simulator.actions.base import Action, Lasting, Rig
from simulator.section import NonNegative, Positive
from simulator.units import CC, PSI


class Squeeze(Lasting):
    """A hand closes on the hose, and takes some of its volume."""

    do: Literal["squeeze"]
    by_cc: Positive = 0.2

    def begin(self, rig: Rig) -> None:
        rig.bench.squeeze_hose(self.by_cc * CC)

    def end(self, rig: Rig) -> None:
        rig.bench.squeeze_hose(0.0)


class Droop(Lasting):
    """The supply falls to a lower pressure and comes back."""

    do: Literal["droop"]
    to_psi: NonNegative

    def begin(self, rig: Rig) -> None:
        rig.bench.regulator.droop_to_pa = self.to_psi * PSI

    def end(self, rig: Rig) -> None:
        rig.bench.regulator.droop_to_pa = None


class CrankRoll(Action):
    """Somebody knocks the crank off top dead centre; the pressure may carry it on."""

    do: Literal["crank"]
    to_deg: Annotated[float, Field(gt=-180.0, lt=180.0)]

    def begin(self, rig: Rig) -> None:
        rig.bench.turn_crank(radians(self.to_deg))
