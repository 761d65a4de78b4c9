"""What can happen during a scenario: things that a mechanic does, and things that go wrong.

Each action is a table of the scenario file (`do` names it) and knows what it does to the rig. Where it lasts, `begin`
and `end` stand at either end of each of its spans.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from simulator.actions.base import Action, Lasting, Rig
from simulator.actions.electronics import (
    Corrupt,
    DropBytes,
    DropFrames,
    Garbage,
    Reference,
    Reset,
    Stuck,
    Swap,
    Unplug,
    Wire,
)
from simulator.actions.mechanic import Air, Connect, Press, SetPoint, Tap, TapBlows, Turn, Vent
from simulator.actions.mishaps import CrankRoll, Droop, Squeeze

AnyAction = Annotated[
    Connect
    | Air
    | Vent
    | Turn
    | Tap
    | SetPoint
    | Press
    | Squeeze
    | Droop
    | CrankRoll
    | Stuck
    | Wire
    | Swap
    | Reference
    | DropFrames
    | Reset
    | DropBytes
    | Corrupt
    | Garbage
    | Unplug,
    Field(discriminator="do"),
]

__all__ = [
    "Action",
    "Air",
    "AnyAction",
    "Connect",
    "Corrupt",
    "CrankRoll",
    "Droop",
    "DropBytes",
    "DropFrames",
    "Garbage",
    "Lasting",
    "Press",
    "Reference",
    "Reset",
    "Rig",
    "SetPoint",
    "Squeeze",
    "Stuck",
    "Swap",
    "Tap",
    "TapBlows",
    "Turn",
    "Unplug",
    "Vent",
    "Wire",
]
