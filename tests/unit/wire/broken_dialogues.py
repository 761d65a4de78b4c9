"""Boards that break one rule each in how they answer. Imported for the register that they are in."""

from __future__ import annotations

from daq.wire import CommandError
from daq.wire.crc import seal
from tests.unit.wire.check_rig import breaks
from tests.unit.wire.fake_board import BLANK, FakeBoard


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
