"""A whole engine through the real firmware: physics, converter, program, line, pipeline, and what comes of them.

Nothing here depends on how fast anything runs: the same orders give the same bytes.
"""

from __future__ import annotations

import itertools
import math
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from typing import TypeVar

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.pipeline import Pipeline, run
from daq.procedure import EngineOrder, TestPlan
from daq.records import (
    Board,
    BoardFault,
    Chunk,
    CylinderDone,
    Gap,
    Input,
    Instrument,
    LineFormat,
    LinkDown,
    LinkUp,
    Marked,
    Record,
    Restarted,
    Samples,
    StableReading,
    TestDone,
)  # fmt: skip
from daq.sources.handshake import handshake
from daq.sources.ports import LineSettings
from daq.units import M_PER_INCH, PA_PER_PSI
from daq.wire import BadFrame, Decoder, Flag, InputEvent
from simulator.scenario import Scenario, load, parse
from simulator.simulation import render
from simulator.truth import truth
from tests.suites.cosimulation import I2C, OWN, SUPPLY_COPIES, Course, Wiring, bad_electronics, calibrated, rotting
from tests.suites.firmware import BUILD, SimulatedPort, made

pytestmark = pytest.mark.timeout(400)

INSTRUMENT = Instrument(0.040 * M_PER_INCH, 0.8, 0.5283, 101_325.0, 293.15, 100 * PA_PER_PSI, 2 * PA_PER_PSI)
ORDER = (1, 3, 4, 2)
STARTS_S = 1_767_225_600.0
TURNS_TO_THE_WRAP = 1_000
"""The board clock counts turns of a timer, of 32.768 ms: it wraps while the second cylinder is measured."""
AnyRecord = TypeVar("AnyRecord")


@dataclass(frozen=True)
class Outcome:
    """What the daemon's side made of a run, the bytes that it got, and the EEPROM at the end."""

    records: list[Record]
    received: bytes = b""
    eeprom: bytes = b""

    def of(self, kind: type[AnyRecord]) -> list[AnyRecord]:
        return [record for record in self.records if isinstance(record, kind)]

    @cached_property
    def cylinders(self) -> dict[int, CylinderDone]:
        (done,) = self.of(TestDone)
        assert done.complete
        return {one.cylinder: one for one in done.cylinders}

    def readings(self) -> dict[tuple[int, str], StableReading]:
        """By cylinder, as found and after the taps."""
        found = {(number, "as found"): done.as_found for number, done in self.cylinders.items()}
        after = {(number, "after tap"): done.after_tap for number, done in self.cylinders.items() if done.after_tap}
        return {**found, **after}


def measured(inputs: Iterator[Input]) -> list[Record]:
    plan = TestPlan("test", EngineOrder("invented four", ORDER), explicit=False, soft_step=True)
    return list(run(Pipeline(INSTRUMENT, assumed_calibration(), plan), inputs))


def through_python(scenario: Scenario) -> Outcome:
    """The same engine through the simulated board."""
    board = Board(LineFormat.FRAMED, scenario.board.bits, rate_hz=200.0)
    pieces = (Chunk(STARTS_S + at_s, data) for at_s, data in render(scenario))
    return Outcome(measured(_linked(board, pieces)))


def through_firmware(scenario: Scenario, wiring: Wiring) -> Outcome:
    made("avr", "bench")
    received: list[bytes] = []
    with wiring.powered() as microcontroller:
        course = Course(scenario, wiring, extra=rotting(scenario))
        for order in (*calibrated(), *course.beginning()):
            microcontroller.order(order)
        microcontroller.run(50_000)
        port = SimulatedPort(microcontroller, {})
        board = handshake(port, "simulated", LineSettings(), received.append)
        microcontroller.order("poke", _address_of_turns(wiring), 2**17 - TURNS_TO_THE_WRAP)
        port.write(b"INIT\n")
        orders = itertools.chain(["await S"], course.orders(), ["run 0"])
        pieces = (Chunk(STARTS_S + at_s, data) for at_s, data in microcontroller.play(orders))
        records = measured(_linked(board, _noted(pieces, received)))
        eeprom = bytes.fromhex(microcontroller.ask("dump")[0])
    return Outcome(records, b"".join(received), eeprom)


def _linked(board: Board, pieces: Iterator[Chunk]) -> Iterator[Input]:
    yield LinkUp(STARTS_S, board)
    yield from pieces
    yield LinkDown(STARTS_S, "the scenario is over")


def _noted(pieces: Iterator[Chunk], received: list[bytes]) -> Iterator[Chunk]:
    for piece in pieces:
        received.append(piece.data)
        yield piece


def _address_of_turns(wiring: Wiring) -> str:
    command = ["avr-nm", str(BUILD / f"{wiring.image}.elf")]
    table = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    found = re.search(r"^0080([0-9a-f]{4}) b turns$", table, re.MULTILINE)
    assert found is not None
    return f"0x{found[1]}"


@cache
def bad_day(wiring: Wiring) -> Outcome:
    return through_firmware(bad_electronics(), wiring)


@cache
def python_day() -> Outcome:
    """What the same engine reads through the Python board when nothing happens to that."""
    return through_python(load("four-debris"))


@pytest.fixture(params=[OWN, I2C], ids=["own", "i2c"])
def wiring(request: pytest.FixtureRequest) -> Wiring:
    chosen: Wiring = request.param
    return chosen


@pytest.fixture
def outcome(wiring: Wiring) -> Outcome:
    return bad_day(wiring)


def test_losses_are_those_of_the_python_board(outcome: Outcome) -> None:
    """Within what converter and noise explain, which the budgets of both readings tell: all else is one physics."""
    expected = python_day().readings()
    readings = outcome.readings()
    assert readings.keys() == expected.keys()
    for key, reading in readings.items():
        explained_pct = 3 * math.hypot(reading.noise_pct, expected[key].noise_pct)
        assert abs(reading.loss_at_set_pct - expected[key].loss_at_set_pct) < explained_pct < 0.15, key


def test_losses_are_true(outcome: Outcome, wiring: Wiring) -> None:
    """Finer codes are nearer to the truth."""
    within_pct = 0.08 if wiring is OWN else 0.04
    for row in truth(load("four-debris")):
        done = outcome.cylinders[row.cylinder]
        assert done.taps == 2 and done.after_tap is not None
        assert done.as_found.loss_at_set_pct == pytest.approx(row.as_found_loss_pct, abs=within_pct)
        assert done.after_tap.loss_at_set_pct == pytest.approx(row.after_tap_loss_pct, abs=within_pct)


def test_the_clock_wraps_in_the_middle_and_nobody_notices(outcome: Outcome) -> None:
    blocks = [block for block in outcome.of(Samples) if block.segment == 1]
    t_us = np.concatenate([block.t_us for block in blocks])
    assert t_us[0] < 2**32 < t_us[-1]
    assert np.ptp(np.diff(t_us)) < 100
    assert outcome.of(Gap) == []


def test_each_restart_is_told_with_its_cause(outcome: Outcome) -> None:
    told = [(one.cause, one.boot_count) for one in outcome.of(Restarted)]
    assert told == [("watchdog", 2), ("external", 3), ("brown-out", 4)]


def test_the_watchdog_bit_in_the_middle_of_a_line(outcome: Outcome) -> None:
    """Of the line that it cut off nothing is taken for a sample."""
    before, _ = outcome.received.split(b"\nB,04,0002,01*", 1)
    cut_off = before[before.rindex(b"\n") + 1 :]
    assert cut_off.startswith(b"S,") and len(cut_off) < 38
    assert isinstance(Decoder().feed(cut_off + b"\n")[0], BadFrame)


def test_a_sagging_supply_is_told_and_does_no_harm(outcome: Outcome) -> None:
    (fault,) = (one for one in outcome.of(BoardFault))
    assert (fault.fault, fault.segment) == ("reference-low", 1)
    block = next(block for block in outcome.of(Samples) if (block.flags & Flag.REFERENCE_LOW).any())
    assert not (block.flags & Flag.SATURATED).any()


def test_a_press_is_a_mark_of_the_board_at_its_time(outcome: Outcome) -> None:
    (mark,) = outcome.of(Marked)
    assert (mark.kind, mark.source, mark.segment) == ("next", "board", 4)
    pressed, released = (frame for frame in Decoder().feed(outcome.received) if isinstance(frame, InputEvent))
    assert (pressed.pressed, released.pressed) == (True, False)
    assert released.clock_us - pressed.clock_us == pytest.approx(200_000, abs=50)
    debounced_s = 0.025
    assert 0 <= mark.t_s - pressed.clock_us / 1e6 < debounced_s


def test_one_copy_of_the_calibration_is_enough_and_none_is_told(outcome: Outcome) -> None:
    """The second start found one copy, and mended the other. The third found none."""
    valid = {
        segment: {bool(flag) for block in outcome.of(Samples) if block.segment == segment
                  for flag in block.flags & Flag.CALIBRATION_VALID}
        for segment in (1, 2, 3, 4)
    }  # fmt: skip
    assert valid == {1: {True}, 2: {True}, 3: {True}, 4: {False}}
    assert b"\nB,02,0003,01*" in outcome.received
    assert b"\nB,03,0004,00*" in outcome.received
    first, second = (outcome.eeprom[address : address + 15] for address in SUPPLY_COPIES)
    assert first == second


def test_the_same_orders_give_the_same_bytes() -> None:
    made("avr", "bench")
    scenario = parse('like = "four-debris"\n[script]\norder = [4]\nhold_s = 1.0', "short")

    def received() -> bytes:
        with OWN.powered() as board:
            course = Course(scenario, OWN)
            started = [*course.beginning(), "run 50000", "send 494e49540a", "await S"]
            return b"".join(data for _, data in board.play([*started, *course.orders(), "run 0"]))

    assert received() == received()
