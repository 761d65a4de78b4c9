"""What can happen during a scenario: things that a mechanic does, and things that go wrong.

Each action is a table of the scenario file (`do` names it) and knows what it does to the rig. Where it lasts, `begin`
and `end` stand at either end of each of its spans.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import radians
from typing import Annotated, Literal, Protocol

from pydantic import Field

from daq.wire import ResetCause
from simulator.board import MARK_BUTTON, Board
from simulator.line import Line
from simulator.physics.bench import Bench
from simulator.physics.front_end import NOMINAL_REFERENCE_V, FrontEnd
from simulator.physics.leaks import LeakPath
from simulator.section import NonNegative, Positive, Section
from simulator.units import CC, MM2, MS, PSI

Channel = Literal["supply", "cylinder"]
Valve = Literal["intake", "exhaust"]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
Count = Annotated[int, Field(ge=1)]


class Rig(Protocol):
    """What actions act on."""

    bench: Bench
    front_end: FrontEnd
    board: Board
    line: Line

    def pull_cable(self) -> None: ...

    def put_cable_back(self) -> None: ...


class Action(Section):
    """When it happens: `at_s` from the start of the scenario; or `after_s` from the action before it in the file; or
    `after_s` from the moment the air was opened on cylinder `after_air_on`."""

    at_s: NonNegative | None = None
    after_s: NonNegative | None = None
    after_air_on: int | None = None

    def spans(self) -> Iterator[tuple[float, float | None]]:
        """Offset from the time of the action, and duration (None: it has no end), of each of its parts."""
        yield 0.0, None

    def begin(self, rig: Rig) -> None:
        raise NotImplementedError

    def end(self, rig: Rig) -> None:
        """Only actions that last have something to undo."""


class Lasting(Action):
    """An action that goes on for `for_s` seconds."""

    for_s: Positive

    def spans(self) -> Iterator[tuple[float, float | None]]:
        yield 0.0, self.for_s


# ---- what a mechanic does ----


class Connect(Action):
    """Screw the hose into a cylinder."""

    do: Literal["connect"]
    cylinder: int

    def begin(self, rig: Rig) -> None:
        rig.bench.connect(self.cylinder)


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
    """Turn the regulator to another set point."""

    do: Literal["set_point"]
    to_psi: NonNegative

    def begin(self, rig: Rig) -> None:
        rig.bench.regulator.set_point_pa = self.to_psi * PSI


class Press(Lasting):
    """Press a button of the board; 1 is the mark button."""

    do: Literal["press"]
    button: Annotated[int, Field(ge=1, le=255)] = MARK_BUTTON
    for_s: Positive = 0.2

    def begin(self, rig: Rig) -> None:
        rig.board.press(self.button, True)

    def end(self, rig: Rig) -> None:
        rig.board.press(self.button, False)


# ---- what goes wrong on the bench ----


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


# ---- what goes wrong in the electronics ----


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


# ---- what goes wrong on the line ----


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


AnyAction = Annotated[
    Connect
    | Air
    | Vent
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
