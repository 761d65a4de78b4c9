"""The simulator's physics at the inputs of the reference firmware: one scenario as orders for the firmware's bench.

The physics reckons what the transducers give every 2.5 ms, and the bench lets the voltages go evenly from one of these
to the next. What a scenario does to its board (a press, a restart, a sagging supply) happens to the firmware in its
time.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daq.wire import ResetCause, crc16
from simulator.actions.electronics import Reset
from simulator.build import bench_of, front_end_of
from simulator.physics.front_end import NOMINAL_REFERENCE_V
from simulator.scenario import Scenario, load
from simulator.timeline import actions_of, timeline_of
from simulator.units import PSI
from tests.suites.firmware import BUILD, Microcontroller

KNOT_US = 2_500
KNOTS_AN_ANSWER = 40
INITIATE = f"send {b'INIT'.hex()}0a"


@dataclass(frozen=True, slots=True)
class Wiring:
    """How a firmware image measures: `divider` before each input, and whether a third input has the sensor supply."""

    image: str
    divider: float
    i2c: bool

    @property
    def hex(self) -> Path:
        return BUILD / f"{self.image}.hex"

    def powered(self) -> Microcontroller:
        return Microcontroller(self.hex, i2c=self.i2c)


OWN, I2C = Wiring("own", 1.0, False), Wiring("i2c", 18 / 28, True)
SUPPLY_COPIES, CYLINDER_COPIES = (48, 64), (80, 96)
"""Where the firmware's EEPROM keeps the calibration of each channel, twice."""
HOST_STARTS = ("run 500000", INITIATE, "await S")
"""What a host does with a board that has restarted, when none listens on the line."""
HOST_WILL_START = ("await S",)
"""The host that has the line open does it."""


@dataclass(slots=True)
class _Hand:
    """In the place of the simulated board: what is done to it becomes orders."""

    restart: Sequence[str]
    orders: list[str] = field(default_factory=list)

    def press(self, number: int, pressed: bool) -> None:
        self.orders.append(f"button {int(pressed)}")

    def reset(self, cause: ResetCause, cut_bytes: int) -> None:
        self.orders.append(f"reset {int(cause)}")


class _HandOnTheBench(_Hand):
    def reset(self, cause: ResetCause, cut_bytes: int) -> None:
        """A watchdog bites where the program hangs. Then the host has to start the stream again."""
        if cause is ResetCause.WATCHDOG:
            self.orders.append("hang")
        else:
            _Hand.reset(self, cause, cut_bytes)
        self.orders += self.restart


def bad_electronics() -> Scenario:
    """A whole engine, while its board has a bad day."""
    return load(str(Path(__file__).parents[1] / "end_to_end" / "scenarios" / "bad-electronics.toml"))


def calibrated() -> Iterator[str]:
    """A calibration of both channels is in the EEPROM, twice: version, zero in uV, Pa per V, date, CRC of the number of
    the record and all that. For a board that has not run yet."""
    body = struct.pack("<Biii", 1, 500_000, 258_553, 20_250_110)
    for number, addresses in ((1, SUPPLY_COPIES), (2, CYLINDER_COPIES)):
        copy = body + struct.pack("<H", crc16(bytes([number]) + body))
        for address in addresses:
            yield from (f"eeprom {address + place} {byte}" for place, byte in enumerate(copy))


def rotting(scenario: Scenario) -> dict[float, Sequence[str]]:
    """One copy of the supply's calibration rots before the second restart of that scenario, both before the third."""
    _, second_s, third_s = (at_s for at_s, action in actions_of(scenario) if isinstance(action, Reset))
    first, second = (f"eeprom {address + 5} 0" for address in SUPPLY_COPIES)
    return {second_s - 0.1: [first], third_s - 0.1: [first, second]}


class Course:
    """The orders of one scenario, from the first sample to its end; they can be had once. `extra` are further ones, by
    the time of the scenario. While the board restarts, the physics stands still."""

    def __init__(
        self,
        scenario: Scenario,
        wiring: Wiring,
        seed: int = 1,
        restart: Sequence[str] = HOST_STARTS,
        extra: Mapping[float, Sequence[str]] | None = None,
    ) -> None:
        timeline = timeline_of(scenario)
        assert timeline.ends_s is not None, "the scenario never ends"
        self.ends_s = timeline.ends_s
        self.bench = bench_of(scenario, seed)
        self.front_end = front_end_of(scenario, self.bench, seed)
        self.board: Any = _HandOnTheBench(restart)
        self._wiring, self._reference_v, self._now_us, self._knots = wiring, NOMINAL_REFERENCE_V, 0, 0
        self._moments = [(cue.at_s, cue.perform) for cue in timeline.cues if cue.at_s < self.ends_s]
        self._moments += [(at_s, _ordering(orders)) for at_s, orders in (extra or {}).items()]
        self._moments.sort(key=lambda moment: moment[0])

    def beginning(self) -> Iterator[str]:
        """What the board finds when it is switched on: transducers without pressure."""
        yield f"ramp 0 {self._at_inputs(*self.front_end.last_volts)}"

    def orders(self) -> Iterator[str]:
        self.front_end.begin(0.0)
        for at_s, perform in self._moments:
            yield from self._until(round(at_s * 1e6))
            self.front_end.advance(at_s)
            perform(self)  # type: ignore[arg-type]  # a rig without a line: nothing is done to that here
            yield from self._done()
        yield from self._until(round(self.ends_s * 1e6))

    def _until(self, at_us: int) -> Iterator[str]:
        while self._now_us < at_us:
            before_us, self._now_us = self._now_us, min(at_us, self._now_us // KNOT_US * KNOT_US + KNOT_US)
            yield from self._step(self._now_us - before_us, *self.front_end.volts([self._now_us / 1e6])[0])

    def _step(self, lasts_us: int, supply_v: float, cylinder_v: float) -> Iterator[str]:
        """Time goes on, and the transducers give this at its end."""
        yield f"ramp {lasts_us} {self._at_inputs(supply_v, cylinder_v)}"
        self._knots += 1
        if self._knots % KNOTS_AN_ANSWER == 0:
            yield "run 0"

    def _at_inputs(self, supply_v: float, cylinder_v: float) -> str:
        scale = self._wiring.divider * self._reference_v / NOMINAL_REFERENCE_V
        third_v = self._reference_v * self._wiring.divider
        return f"{supply_v * scale:.7f} {cylinder_v * scale:.7f} {third_v:.7f}"

    def _done(self) -> Iterator[str]:
        """What came of an action, as orders."""
        if self.front_end.reference_v != self._reference_v:
            self._reference_v = self.front_end.reference_v
            yield from self._feed(self._reference_v)
        yield from self.board.orders
        self.board.orders.clear()

    def _feed(self, reference_v: float) -> Iterator[str]:
        yield f"supply {reference_v}"


class HostCourse(Course):
    """The same for the host port of the firmware: as pressures, that stand until the next are due."""

    def __init__(self, scenario: Scenario, seed: int = 1) -> None:
        super().__init__(scenario, OWN, seed)
        self.board = _Hand(())

    def _step(self, lasts_us: int, supply_v: float, cylinder_v: float) -> Iterator[str]:
        yield f"pressures {_pressure_pa(supply_v)} {_pressure_pa(cylinder_v)}"
        yield f"wait {self._now_us}"

    def _feed(self, reference_v: float) -> Iterator[str]:
        yield f"sensors {round(reference_v * 1e3)}"


def _pressure_pa(volts: float) -> int:
    """As the transducers of the host port have it: 0.5 V to 4.5 V for 0 to 150 psi."""
    return round((volts - 0.5) / 4.0 * 150 * PSI)


def _ordering(orders: Sequence[str]) -> Any:
    return lambda course: course.board.orders.extend(orders)
