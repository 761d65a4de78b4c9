"""What goes wrong in the electronics, and on the line."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from daq.wire import ResetCause
from simulator.actions.base import Action, Count, Lasting, Rig
from simulator.physics.front_end import NOMINAL_REFERENCE_V

Channel = Literal["supply", "cylinder"]


class Stuck(Lasting):
    """A transducer freezes."""

    do: Literal["stuck"]
    channel: Channel

    def begin(self, rig: Rig) -> None:
        getattr(rig.front_end, self.channel).stuck = True

    def end(self, rig: Rig) -> None:
        getattr(rig.front_end, self.channel).stuck = False


class Wire(Lasting):
    """The signal wire of a transducer breaks (0 V, as boards pull it) or touches another (5 V is the supply)."""

    do: Literal["wire"]
    channel: Channel
    to_v: Annotated[float, Field(ge=0.0, le=6.5)] = 0.0

    def begin(self, rig: Rig) -> None:
        rig.front_end.wires_v[self.channel] = self.to_v

    def end(self, rig: Rig) -> None:
        rig.front_end.wires_v[self.channel] = None


class Swap(Lasting):
    """Somebody has mixed up the two transducers."""

    do: Literal["swap"]

    def begin(self, rig: Rig) -> None:
        rig.front_end.swapped = True

    def end(self, rig: Rig) -> None:
        rig.front_end.swapped = False


class Reference(Lasting):
    """The reference of the board, which also feeds the transducers, sags or rises."""

    do: Literal["reference"]
    to_v: Annotated[float, Field(ge=3.0, le=6.5)]

    def begin(self, rig: Rig) -> None:
        rig.front_end.reference_v = self.to_v

    def end(self, rig: Rig) -> None:
        rig.front_end.reference_v = NOMINAL_REFERENCE_V


class DropFrames(Action):
    """The board fails to send samples, and says so."""

    do: Literal["drop_frames"]
    count: Count = 1

    def begin(self, rig: Rig) -> None:
        rig.board.drop_frames(self.count)


class Reset(Action):
    """The board restarts in the middle of a line; it streams again when the host starts it."""

    do: Literal["reset"]
    cause: Literal["unknown", "power_on", "external", "brown_out", "watchdog", "software"] = "watchdog"
    cut_bytes: Annotated[int, Field(ge=0)] = 17

    def begin(self, rig: Rig) -> None:
        rig.board.reset(ResetCause[self.cause.upper()], self.cut_bytes)


# ---- the line ----


class DropBytes(Action):
    """The line loses bytes."""

    do: Literal["drop_bytes"]
    count: Count = 1

    def begin(self, rig: Rig) -> None:
        rig.line.drop_bytes(self.count)


class Corrupt(Action):
    """The line flips one bit in each of the next lines."""

    do: Literal["corrupt"]
    lines: Count = 1

    def begin(self, rig: Rig) -> None:
        rig.line.corrupt_lines(self.lines)


class Garbage(Action):
    """The line invents bytes."""

    do: Literal["garbage"]
    bytes: Count = 40

    def begin(self, rig: Rig) -> None:
        rig.line.invent(self.bytes)


class Unplug(Lasting):
    """The cable is pulled, and put back; a board that lives on it starts anew."""

    do: Literal["unplug"]

    def begin(self, rig: Rig) -> None:
        rig.pull_cable()

    def end(self, rig: Rig) -> None:
        rig.put_cable_back()
