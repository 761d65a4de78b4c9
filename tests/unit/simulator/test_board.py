"""The simulated board against the specification of the serial line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from daq.wire import (
    BareBlock,
    BareDecoder,
    Boot,
    Decoder,
    Flag,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
    ResetCause,
    SampleBlock,
)
from simulator.board import Board, BoardTraits
from simulator.commands import Identity
from simulator.physics.front_end import Conversions, ConverterTraits

SESSIONS = json.loads(Path("firmware_spec/vectors/sessions.json").read_text(encoding="utf-8"))
BOTH = {"SUPPLY": (500000, 258553, 20250110), "CYLINDER": (498200, 258710, 20250110)}


class Ramp:
    """A converter whose supply count is the time in milliseconds."""

    def __init__(self, bits: int = 16) -> None:
        self.traits = ConverterTraits(bits)
        self.reference_v = 5.0
        self.last_volts = (3.0, 3.0)

    def convert(self, times_s: list[float]) -> Conversions:
        count = np.array([round(1000 * time_s) for time_s in times_s], np.uint16)
        return Conversions(count, count // 2 + 1, np.full(len(count), 50000, np.uint16), self.reference_v)


def board(**traits: Any) -> Board:
    return Board(BoardTraits(**traits), Ramp())


def frames(data: bytes) -> list[Frame]:
    return Decoder().feed(data)


def samples(data: bytes) -> SampleBlock:
    blocks = [frame for frame in frames(data) if isinstance(frame, SampleBlock)]
    fields = ("sequence", "clock_us", "supply_count", "cylinder_count", "reference", "flags")
    return SampleBlock(*(np.concatenate([getattr(block, field) for block in blocks]) for field in fields))


@pytest.mark.parametrize("session", SESSIONS, ids=[session["name"] for session in SESSIONS])
def test_answers_as_the_specification_shows(session: dict[str, Any]) -> None:
    one = board(identity=Identity("Invented Instruments", "Bench Board", "0042", "1.0.3"))
    one.advance(0.1)
    for step in session["steps"]:
        replies = one.feed(step["send"].encode("latin-1"))
        assert replies.decode().splitlines() == step["replies"]


@pytest.mark.parametrize("cut", [1, 3, 7])
def test_commands_may_come_in_pieces(cut: int) -> None:
    one, text = board(), b"@0001 *TST?\r\n@0002 CONF:RATE 100\n"
    replies = b"".join(one.feed(text[at : at + cut]) for at in range(0, len(text), cut))
    assert [frame for frame in frames(replies) if isinstance(frame, Reply)] == [Reply(1, 0, "0"), Reply(2, 0, "")]


def test_endless_garbage_on_the_input_costs_one_line_and_no_memory() -> None:
    one = board()
    one.advance(0.0)
    for _ in range(1000):
        assert one.feed(b"x" * 1000) == b""
    assert one.commands.pending < 1000
    assert frames(one.feed(b"\n@0009 *TST?\n")) == [Reply(0, -113, "Undefined header"), Reply(9, 0, "0")]


def test_boots_with_a_line_feed_first() -> None:
    sent = board(calibration=BOTH, boot_count=7).advance(0.5)
    assert sent.startswith(b"\nB,")
    assert frames(sent) == [Boot(ResetCause.POWER_ON, 7, True)]


def test_waits_for_initiate_and_beats_meanwhile() -> None:
    beats = frames(board().advance(3.5))[1:]
    assert beats == [Heartbeat(second * 1_000_000, False, 0, 0) for second in (1, 2, 3)]


def test_streams_from_one_period_after_initiate_until_abort() -> None:
    one = board()
    one.advance(2.0)
    one.feed(b"INIT\n")
    block = samples(one.advance(2.5))
    assert block.sequence.tolist() == list(range(100))
    assert block.clock_us.tolist() == [2_000_000 + 5000 * number for number in range(1, 101)]
    one.feed(b"ABOR\n")
    assert [type(frame) for frame in frames(one.advance(4.5))] == [Heartbeat, Heartbeat]


def test_sequence_goes_on_after_a_stop() -> None:
    one = board()
    one.feed(b"INIT\n")
    one.advance(0.1)
    one.feed(b"ABOR\n")
    one.advance(0.5)
    one.feed(b"INIT\n")
    assert samples(one.advance(0.6)).sequence[0] == 20


def test_initiate_while_running_changes_nothing() -> None:
    once, twice = board(), board()
    for one, commands in ((once, b"INIT\n"), (twice, b"INIT\nINIT\n")):
        one.feed(b"INIT\n")
        one.advance(0.1021)
        one.feed(commands)
    assert once.advance(0.5) == twice.advance(0.5)


def test_rate_changes_from_the_next_sample_on() -> None:
    one = board()
    one.feed(b"INIT\n")
    one.advance(0.1)
    one.feed(b"CONF:RATE 50\n")
    clock_us = samples(one.advance(0.2)).clock_us
    assert np.diff(clock_us).tolist() == [20_000] * (len(clock_us) - 1)
    assert clock_us[0] == 120_000


def test_a_sample_that_is_due_at_the_end_of_a_step_belongs_to_it() -> None:
    one = board(identity=Identity(rate_hz=49))
    one.feed(b"INIT\n")
    one.advance(0.0)
    assert [len(samples(one.advance(number / 49))) for number in range(1, 49)] == [1] * 48


def test_clock_runs_at_its_own_speed_and_wraps() -> None:
    one = board(clock_ppm=100.0, first_clock_us=0xFFFFFFFF - 500_000)
    one.feed(b"INIT\n")
    clock_us = samples(one.advance(1.0)).clock_us
    steps = np.diff(clock_us.astype(np.uint32))
    assert set(steps.tolist()) == {5000}
    assert clock_us[0] > 0xFFF00000
    assert clock_us[-1] < 1_000_000
    assert len(clock_us) == 200
    slow = board(clock_ppm=-20_000.0)
    slow.feed(b"INIT\n")
    assert len(samples(slow.advance(1.0))) == 196


def test_button_sends_an_event_and_sets_the_flag() -> None:
    one = board()
    one.feed(b"INIT\n")
    one.advance(0.1)
    one.press(1, True)
    held = one.advance(0.2)
    one.press(1, False)
    released = one.advance(0.3)
    assert InputEvent(100_000, 1, True) in frames(held)
    assert InputEvent(200_000, 1, False) in frames(released)
    assert set((samples(held).flags & Flag.MARK_DOWN).tolist()) == {1}
    assert set((samples(released).flags & Flag.MARK_DOWN).tolist()) == {0}


def test_another_button_sets_no_flag() -> None:
    one = board()
    one.feed(b"INIT\n")
    one.press(2, True)
    assert not (samples(one.advance(0.1)).flags & Flag.MARK_DOWN).any()


def test_dropped_frames_leave_a_gap_are_counted_and_flagged_once() -> None:
    one = board()
    one.feed(b"INIT\n")
    one.advance(0.1)
    one.drop_frames(7)
    sent = one.advance(1.1)
    block = samples(sent)
    assert block.sequence.tolist() == list(range(27, 220))
    assert (block.flags & Flag.TRANSMIT_DROP).astype(bool).tolist() == [True] + [False] * (len(block) - 1)
    assert [frame.dropped for frame in frames(sent) if isinstance(frame, Heartbeat)] == [7]


@pytest.mark.parametrize(("volts", "flag"), [(4.7, Flag.REFERENCE_LOW), (5.3, Flag.REFERENCE_HIGH), (4.8, 0), (5.2, 0)])
def test_reference_flags_and_self_test(volts: float, flag: int) -> None:
    converter = Ramp()
    converter.reference_v = volts
    one = Board(BoardTraits(), converter)
    one.feed(b"INIT\n")
    assert set(samples(one.advance(0.05)).flags.tolist()) == {flag}
    assert Reply(0, 0, "1" if flag else "0") in frames(one.feed(b"*TST?\n"))


def test_self_test_finds_a_transducer_without_life() -> None:
    converter = Ramp()
    one = Board(BoardTraits(), converter)
    converter.last_volts = (0.1, 4.9)
    assert frames(one.feed(b"*TST?\n"))[-1] == Reply(0, 0, "6")


def test_saturation_is_flagged_sample_by_sample() -> None:
    one = Board(BoardTraits(), Ramp(bits=8))
    one.feed(b"CONF:RATE 100\nINIT\n")
    block = samples(one.advance(0.3))
    assert ((block.flags & Flag.SATURATED) > 0).tolist() == (block.supply_count == 255).tolist()
    assert (block.supply_count == 255).sum() == 0
    one = Board(BoardTraits(identity=Identity(rate_hz=200)), Ramp(bits=8))
    one.feed(b"INIT\n")
    block = samples(one.advance(0.3))
    assert ((block.flags & Flag.SATURATED) > 0).tolist() == (block.supply_count == 255).tolist()
    assert (block.supply_count == 255).sum() == 1


def test_calibration_flag_says_that_both_channels_are_stored() -> None:
    one = board(calibration={"SUPPLY": BOTH["SUPPLY"]})
    one.feed(b"INIT\n")
    before = samples(one.advance(0.1)).flags
    one.feed(b"ABOR\nCAL:DATA CYL,500000,258553,20250110\nINIT\n")
    after = samples(one.advance(0.2)).flags
    assert not (before & Flag.CALIBRATION_VALID).any()
    assert (after & Flag.CALIBRATION_VALID).all()


def test_reset_cuts_a_line_boots_and_waits() -> None:
    one = board(calibration=BOTH, boot_count=7, first_clock_us=5000)
    one.feed(b"INIT\nFOO\nCONF:RATE 100\n")
    one.advance(1.502)
    one.reset(ResetCause.WATCHDOG, cut_bytes=17)
    sent = one.advance(3.0)
    cut, rest = sent.split(b"\n", 1)
    assert len(cut) == 17
    assert frames(sent)[1:] == [Boot(ResetCause.WATCHDOG, 8, True), Heartbeat(1_000_000, False, 0, 0)]
    assert rest.startswith(b"B,")
    assert frames(one.feed(b"CONF:RATE?\n")) == [Reply(0, 0, "200")]
    one.feed(b"INIT\n")
    assert samples(one.advance(3.1)).sequence[0] == 0


def test_bare_board_prints_two_numbers_a_line_and_listens_to_nobody() -> None:
    one = board(bare=True, identity=Identity(rate_hz=50))
    one.start()
    sent = one.feed(b"*IDN?\n") + one.advance(0.5)
    one.press(1, True)
    (block,) = BareDecoder().feed(sent)
    assert isinstance(block, BareBlock)
    assert block.supply_count.tolist() == list(range(20, 520, 20))
    one.reset(ResetCause.EXTERNAL, 2)
    assert one.advance(0.54) == b"50520,261\n540,271\n"
