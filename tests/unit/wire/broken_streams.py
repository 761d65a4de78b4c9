"""Boards that break one rule each in what they send by themselves. Imported for the register that they are in."""

from __future__ import annotations

import math

from daq.wire import Boot, Flag, Heartbeat, InputEvent, ResetCause, crc16
from daq.wire.crc import seal
from tests.unit.wire.check_rig import Absolute, breaks
from tests.unit.wire.fake_board import FakeBoard


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
