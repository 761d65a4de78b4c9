"""The check of a board finds nothing on a board that keeps the specification, and each rule that a board breaks."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from daq.errors import UnavailableError
from daq.sources.conformance import Verdict
from daq.sources.conformance_report import REQUIREMENTS
from daq.wire import Boot, Flag, InputEvent, ResetCause
from tests.unit.wire import broken_dialogues, broken_streams
from tests.unit.wire.check_rig import BREAKERS, Absolute, report_of, verdicts
from tests.unit.wire.fake_board import FakeBoard


def test_a_sound_board_conforms() -> None:
    report = report_of(FakeBoard(calibrated=True))
    assert verdicts(report, Verdict.FAILS) == {}
    assert set(verdicts(report, Verdict.NOT_CHECKED)) == {"R13", "R14", "R15"}
    assert report.conforms and report.identity == FakeBoard.identity
    assert [found.requirement for found in report.findings] == [f"R{number}" for number in range(1, 35)]


def test_what_did_not_come_up_is_not_called_conforming() -> None:
    report = report_of(FakeBoard(calibrated=False))
    assert verdicts(report, Verdict.FAILS) == {}
    assert set(verdicts(report, Verdict.NOT_CHECKED)) == {"R13", "R14", "R15", "R31", "R32"}


class Button(FakeBoard):
    """Somebody presses the mark button now and then, and opening the port resets the board twice."""

    boots = 0

    def beat(self) -> None:
        if self.boots < 2:
            self.send(b"S,01A4,00" + Boot(ResetCause.EXTERNAL, 0xFFFF + self.boots & 0xFFFF, False).encode())
            self.boots += 1
        super().beat()
        self.send(InputEvent(self.clock_us(), 1, True).encode() + InputEvent(self.clock_us(), 1, False).encode())


def test_what_a_hand_adds_is_judged_too() -> None:
    report = report_of(Button(calibrated=True))
    assert verdicts(report, Verdict.FAILS) == {}
    assert verdicts(report, Verdict.NOT_CHECKED) == {}


class AtHand(FakeBoard):
    """Somebody stands at the board and does what is asked for: two resets, three presses of 0.3 s."""

    boots, edges, next_edge_s, down = 0, 0, math.inf, False

    def __init__(self) -> None:
        super().__init__(calibrated=True)
        self.asked: list[str] = []

    def obey(self, words: str) -> None:
        self.asked.append(words)
        if words.startswith("Reset"):
            self.boots = 2
        else:
            self.edges, self.next_edge_s = 6, self.host_s + 0.3

    def beat(self) -> None:
        if self.boots:
            self.boots -= 1
            self.do_rst()
            self.errors.clear()
            self.sequence = 0
            self.send(Boot(ResetCause.EXTERNAL, 9 - self.boots, True).encode())
        super().beat()

    def sample_line(self, **changed: int) -> bytes:
        if self.edges and self.host_s >= self.next_edge_s:
            self.edges, self.next_edge_s, self.down = self.edges - 1, self.next_edge_s + 0.3, not self.down
            self.send(InputEvent(self.clock_us(), 1, self.down).encode())
        return super().sample_line(flags=Flag.CALIBRATION_VALID | Flag.MARK_DOWN * self.down, **changed)


def test_a_person_at_the_board_is_asked_for_what_takes_a_hand() -> None:
    board = AtHand()
    report = report_of(board, ask=board.obey)
    assert [words.split()[0] for words in board.asked] == ["Reset", "Press"]
    assert verdicts(report, Verdict.FAILS) == verdicts(report, Verdict.NOT_CHECKED) == {}


def test_a_person_who_does_nothing_is_not_waited_for_in_vain() -> None:
    board = FakeBoard(calibrated=True)
    began_s = board.host_s
    report = report_of(board, ask=lambda words: None)
    assert set(verdicts(report, Verdict.NOT_CHECKED)) == {"R13", "R14", "R15"}
    assert "pressed" in report["R13"].evidence and "reset it" in report["R14"].evidence
    assert board.host_s - began_s < 80


def test_a_flag_that_does_not_follow_the_button_is_found() -> None:
    class Unmarked(AtHand):
        def sample_line(self, **changed: int) -> bytes:
            super().sample_line()
            return FakeBoard.sample_line(self, **changed)

    board = Unmarked()
    found = report_of(board, ask=board.obey)["R10"]
    assert found.verdict is Verdict.FAILS and "mark input wrong" in found.evidence


def test_what_was_measured_is_told() -> None:
    figures = {figure.what: figure.value for figure in report_of(FakeBoard(calibrated=True)).figures}
    assert figures["converter"] == "12 bits, RATIO"
    assert figures["fastest rate accepted"] == "236 Hz"
    assert {f"samples at {rate} Hz" for rate in (50, 200, 100, 236)} < set(figures)
    assert ", 0 missing, mean 5000.0 us, 5000 to 5000 us" in figures["samples at 200 Hz"]
    assert figures["replies"].endswith("median 0 ms, longest 0 ms")
    assert figures["clock"].startswith("+0 ppm")


def test_the_fastest_rate_is_found_where_no_line_limits_it() -> None:
    class Slower(FakeBoard):
        baud = 200_000

    figures = {figure.what: figure.value for figure in report_of(Slower(calibrated=True), baud=None).figures}
    assert figures["fastest rate accepted"] == "410 Hz"


def test_a_board_with_an_absolute_reference_conforms() -> None:
    assert verdicts(report_of(Absolute(calibrated=True)), Verdict.FAILS) == {}


def test_the_clock_may_wrap_during_the_check() -> None:
    class Wrapping(FakeBoard):
        def clock_us(self) -> int:
            return (super().clock_us() + (1 << 32) - 12_000_000) % (1 << 32)

    assert verdicts(report_of(Wrapping(calibrated=True)), Verdict.FAILS) == {}


def test_the_board_is_left_as_it_was() -> None:
    board = FakeBoard(calibrated=True)
    board.write(b"CONF:RATE 123\nINIT\n")
    before = dict(board.calibration)
    report_of(board)
    assert (board.rate_hz, board.running, board.calibration, board.timeout) == (123, True, before, None)


# ---- boards that break one rule each

REGISTERED = (broken_dialogues, broken_streams)


@pytest.mark.parametrize(("requirement", "board"), BREAKERS, ids=lambda value: getattr(value, "__name__", value))
def test_a_broken_rule_is_found(requirement: str, board: Callable[..., FakeBoard]) -> None:
    found = report_of(board(calibrated=True))[requirement]
    assert found.verdict is Verdict.FAILS
    assert found.evidence


def test_there_is_a_broken_board_for_each_requirement() -> None:
    assert {requirement for requirement, _ in BREAKERS} == set(REQUIREMENTS)


def test_a_bare_board_gets_a_report_that_says_what_it_is() -> None:
    class Bare(FakeBoard):
        def beat(self) -> None:
            self.beat_s += 0.01
            self.send(b"2594,2419\r\n")

        def take_line(self, line: bytes) -> None:
            pass

    report = report_of(Bare())
    assert not report.conforms
    assert "2594,2419" in report["R1"].evidence
    assert "three tries" in report["R16"].evidence
    assert report["R25"].verdict is Verdict.NOT_CHECKED


def test_a_port_that_goes_away_is_an_error_with_advice() -> None:
    class Unplugged(FakeBoard):
        def read(self, size: int = 1, /) -> bytes:
            raise OSError(5, "Input/output error")

    with pytest.raises(UnavailableError, match="Input/output error"):
        report_of(Unplugged())
