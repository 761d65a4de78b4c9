"""The check of a board finds nothing on a board that keeps the specification, and each rule that a board breaks."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from daq.errors import UnavailableError
from daq.sources.conformance import Verdict, check_board
from daq.sources.conformance_report import REQUIREMENTS, ConformanceReport
from daq.wire import Boot, CommandError, Flag, Heartbeat, InputEvent, ResetCause, crc16
from daq.wire.crc import seal
from tests.unit.wire.fake_board import BLANK, FakeBoard


def report_of(
    board: FakeBoard, baud: int | None = FakeBoard.baud, ask: Callable[[str], None] | None = None
) -> ConformanceReport:
    return check_board(board, seconds=6.0, baud=baud, clock=board.clock, ask=ask)


def verdicts(report: ConformanceReport, verdict: Verdict) -> dict[str, str]:
    return {found.requirement: found.evidence for found in report.findings if found.verdict is verdict}


# ---- boards that keep the rules


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


class Absolute(FakeBoard):
    converter = "16,ABS"


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

BREAKERS: list[tuple[str, Callable[[], FakeBoard]]] = []


def breaks(requirement: str) -> Callable[[type[FakeBoard]], type[FakeBoard]]:
    def register(board: type[FakeBoard]) -> type[FakeBoard]:
        BREAKERS.append((requirement, board))
        return board

    return register


@breaks("R1")
class Chatty(FakeBoard):
    def beat(self) -> None:
        super().beat()
        self.send(b"free memory: 1204\r\n")


@breaks("R2")
class OtherCrc(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        line = super().sample_line(**changed)
        return line[:34] + b"%04X\n" % (crc16(line[:33]) ^ 0x84C0)


@breaks("R3")
class LowerCase(FakeBoard):
    def beat(self) -> None:
        self.beat_s += 1.0
        self.send(seal(b"H,%08x,00,0000,0000" % (self.clock_us() | 0xF)))


@breaks("R4")
class StillSequence(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(sequence=7)


@breaks("R4")
class SilentLoss(FakeBoard):
    def send(self, data: bytes) -> None:
        if not (data.startswith(b"S,") and self.sequence % 50 == 3):
            super().send(data)


@breaks("R4")
class SequenceFromZero(FakeBoard):
    def do_initiate(self) -> None:
        if not self.running:
            self.sequence = 0
        super().do_initiate()


@breaks("R5")
class Milliseconds(FakeBoard):
    def beat(self) -> None:
        self.beat_s += 1.0
        self.send(Heartbeat(self.clock_us() // 1000, self.running, 0, len(self.errors)).encode())


@breaks("R5")
class ClockFromZero(FakeBoard):
    started_s = 99.0

    def clock_us(self) -> int:
        return round((self.host_s - self.started_s) * 1e6)

    def do_initiate(self) -> None:
        self.started_s = self.host_s
        super().do_initiate()


@breaks("R6")
class FastClock(FakeBoard):
    def clock_us(self) -> int:
        return round((self.host_s - 99) * 1.03e6)


@breaks("R7")
class OffRate(FakeBoard):
    def sample(self) -> None:
        super().sample()
        self.sample_s += 0.05 / self.rate_hz


@breaks("R7")
class Jitter(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(clock_us=self.clock_us() + self.sequence % 2 * 3_000)


@breaks("R7")
class Late(FakeBoard):
    """Every hundredth sample comes late, and no flag says so."""

    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(clock_us=self.clock_us() + (self.sequence % 100 == 7) * 4_500)


@breaks("R8")
class MoreBits(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(cylinder_count=4096)


@breaks("R9")
class SilentSag(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(reference=45_000)


@breaks("R9")
class NoSupplyCount(Absolute):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(reference=0)


@breaks("R10")
class ReservedBit(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(flags=0x80 | Flag.CALIBRATION_VALID)


@breaks("R10")
class BothReferenceFlags(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(reference=0, flags=0x18 | Flag.CALIBRATION_VALID)


@breaks("R10")
class NeverValid(FakeBoard):
    def sample_line(self, **changed: int) -> bytes:
        return super().sample_line(flags=0)


@breaks("R11")
class SlowHeart(FakeBoard):
    def beat(self) -> None:
        super().beat()
        self.beat_s += 0.2


@breaks("R11")
class HeartOnlyWhileRunning(FakeBoard):
    def beat(self) -> None:
        if self.running:
            super().beat()
        else:
            self.beat_s += 1.0


@breaks("R11")
class NoHeart(FakeBoard):
    def beat(self) -> None:
        self.beat_s = math.inf


@breaks("R12")
class AlwaysStopped(FakeBoard):
    def beat(self) -> None:
        self.beat_s += 1.0
        self.send(Heartbeat(self.clock_us(), False, 0, len(self.errors)).encode())


@breaks("R12")
class NoErrorCount(FakeBoard):
    def beat(self) -> None:
        self.beat_s += 1.0
        self.send(Heartbeat(self.clock_us(), self.running, 0, 0).encode())


@breaks("R13")
class Bouncing(FakeBoard):
    def beat(self) -> None:
        super().beat()
        self.send(InputEvent(self.clock_us(), 1, True).encode())


@breaks("R14")
class GluedBoot(FakeBoard):
    booted = False

    def beat(self) -> None:
        super().beat()
        if not self.booted:
            self.send(Boot(ResetCause.EXTERNAL, 3, True).encode().removeprefix(b"\n"))
            self.booted = True


@breaks("R14")
class BootInMidLine(FakeBoard):
    booted = False

    def beat(self) -> None:
        super().beat()
        if not self.booted:
            self.send(b"S,01A4,00" + Boot(ResetCause.EXTERNAL, 3, True).encode().removeprefix(b"\n"))
            self.booted = True


@breaks("R15")
class SameBootCount(FakeBoard):
    boots = 0

    def beat(self) -> None:
        if self.boots < 2:
            self.send(Boot(ResetCause.EXTERNAL, 3, True).encode())
            self.boots += 1
        super().beat()


@breaks("R16")
class Mute(FakeBoard):
    def reply(self, tag: int, status: int, text: str) -> None:
        pass


@breaks("R16")
class Echoing(FakeBoard):
    def reply(self, tag: int, status: int, text: str) -> None:
        super().reply(tag, status, text)
        super().reply(tag, status, text)


@breaks("R16")
class Slow(FakeBoard):
    def reply(self, tag: int, status: int, text: str) -> None:
        self.let_pass(0.4)
        super().reply(tag, status, text)


@breaks("R16")
class OwnTags(FakeBoard):
    def reply(self, tag: int, status: int, text: str) -> None:
        super().reply(tag, status, text)
        super().reply(0x0042, 0, "by the way")


@breaks("R17")
class AnswersBlanks(FakeBoard):
    def take_line(self, line: bytes) -> None:
        super().take_line(line or b"*TST?")


@breaks("R18")
class UpperOnly(FakeBoard):
    def take_line(self, line: bytes) -> None:
        super().take_line(line if line == line.upper() else b"FOO")


@breaks("R18")
class NoCarriageReturn(FakeBoard):
    def take_line(self, line: bytes) -> None:
        super().take_line(line.replace(b"\r", b"~") if line.strip() else line)


@breaks("R18")
class TagNeeded(FakeBoard):
    def take_line(self, line: bytes) -> None:
        if line.startswith(b"@") or not line.isascii():
            super().take_line(line)


@breaks("R19")
class ShortIdentity(FakeBoard):
    identity = "Bench Board,1.0.3"


@breaks("R20")
class OtherVersion(FakeBoard):
    def do_system_protocol_query(self) -> str:
        return "2"


@breaks("R21")
class WordySelfTest(FakeBoard):
    def do_tst_query(self) -> str:
        return "PASS"


@breaks("R22")
class NoMode(FakeBoard):
    converter = "12"


@breaks("R23")
class FixedRate(FakeBoard):
    def do_configure_rate(self, rate: str) -> None:
        pass


@breaks("R24")
class AnyRate(FakeBoard):
    def do_configure_rate(self, rate: str) -> None:
        self.rate_hz = int(rate)


@breaks("R24")
class RefusesAndActs(FakeBoard):
    def do_configure_rate(self, rate: str) -> None:
        self.rate_hz = int(rate)
        super().do_configure_rate(rate)


@breaks("R24")
class LinkOverrated(FakeBoard):
    baud = 230_400


@breaks("R25")
class NeverStops(FakeBoard):
    def do_abort(self) -> None:
        pass


@breaks("R25")
class NeverStarts(FakeBoard):
    def do_initiate(self) -> None:
        pass


@breaks("R25")
class EarlyStart(FakeBoard):
    def do_initiate(self) -> None:
        super().do_initiate()
        self.let_pass(0.02)


@breaks("R25")
class StartsOnce(FakeBoard):
    def do_initiate(self) -> None:
        if self.running:
            raise CommandError(-221)
        super().do_initiate()


@breaks("R26")
class KeepsRate(FakeBoard):
    def do_rst(self) -> None:
        self.do_abort()


@breaks("R26")
class KeepsRunning(FakeBoard):
    def do_rst(self) -> None:
        self.rate_hz = 200


@breaks("R27")
class KeepsErrors(FakeBoard):
    def do_cls(self) -> None:
        pass


@breaks("R28")
class OneError(FakeBoard):
    def refuse(self, tag: int, number: int) -> None:
        super().refuse(tag, -113)


@breaks("R28")
class Ignores(FakeBoard):
    def refuse(self, tag: int, number: int) -> None:
        self.queue(number)
        self.reply(tag, 0, "")


@breaks("R28")
class ActsAnyway(FakeBoard):
    def refuse(self, tag: int, number: int) -> None:
        super().refuse(tag, number)
        self.rate_hz = 1


@breaks("R28")
class StoresAnything(FakeBoard):
    """Takes a calibration that is out of range, and says that it is in order."""

    def take_line(self, line: bytes) -> None:
        if b"SUPP,500000,0,20250110" in line:
            self.reply(int(line[1:5], 16), 0, "")
        else:
            super().take_line(line)


@breaks("R24")
class OddRefusal(FakeBoard):
    """Refuses a rate beyond its line as if there were no such command."""

    def do_configure_rate(self, rate: str) -> None:
        if int(rate) > 220:
            raise CommandError(-113)
        super().do_configure_rate(rate)


@breaks("R29")
class NewestFirst(FakeBoard):
    def queue(self, number: int) -> None:
        self.errors.insert(0, number)


@breaks("R29")
class NoOverflowMark(FakeBoard):
    def queue(self, number: int) -> None:
        self.errors = [*self.errors, number][:8]


@breaks("R29")
class EndlessQueue(FakeBoard):
    def queue(self, number: int) -> None:
        self.errors.append(number)


@breaks("R30")
class AlwaysCalibrated(FakeBoard):
    def __init__(self, calibrated: bool = False) -> None:
        super().__init__(calibrated=False)

    def do_calibration_state_query(self) -> str:
        return "1"


@breaks("R31")
class StoresWhileRunning(FakeBoard):
    def do_calibration_data(self, channel: str, *values: str) -> None:
        self.calibration[channel] = ",".join(values)


@breaks("R32")
class Forgets(FakeBoard):
    def do_calibration_data(self, channel: str, *values: str) -> None:
        super().do_calibration_data(channel, *values)
        self.calibration[channel] = BLANK


@breaks("R33")
class Stumbles(FakeBoard):
    """Garbage leaves it deaf for the next line."""

    deaf = False

    def take_line(self, line: bytes) -> None:
        deaf, self.deaf = self.deaf, not line.isascii()
        if not deaf:
            super().take_line(line)


@breaks("R33")
class CutsLongLines(FakeBoard):
    def take_line(self, line: bytes) -> None:
        for at in range(0, max(len(line), 1), 80):
            super().take_line(line[at : at + 80])


@breaks("R34")
class OwnFrames(FakeBoard):
    def beat(self) -> None:
        super().beat()
        self.send(seal(b"T,0019"))


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
