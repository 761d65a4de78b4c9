"""A board as the wire sees it: commands in, lines out, time as an argument. It knows counts, no pressures.

It speaks the framed format (see firmware_spec/protocol.md), or, when bare, prints two numbers a line and listens to
nobody. The framed stream waits for INITiate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import floor
from typing import Protocol

import numpy as np
import numpy.typing as npt

from daq.wire import BareBlock, Boot, Flag, Heartbeat, InputEvent, ResetCause, SampleBlock, SelfTest
from simulator.commands import Calibration, Commands, Identity
from simulator.physics.front_end import Conversions, ConverterTraits

REFERENCE_LOW_V, REFERENCE_HIGH_V = 4.75, 5.25
LIVE_ZERO_V, LIVE_FULL_V = 0.25, 4.75
"""What a transducer of the 0.5 to 4.5 V kind gives while it and its wires are whole."""
MARK_BUTTON = 1


class Converter(Protocol):
    """What a board measures with: all channels, at each of the rising times."""

    @property
    def traits(self) -> ConverterTraits: ...

    @property
    def reference_v(self) -> float: ...

    @property
    def last_volts(self) -> tuple[float, float]: ...

    def convert(self, times_s: Sequence[float]) -> Conversions: ...


@dataclass(frozen=True, slots=True)
class BoardTraits:
    """Who the board is, its clock (error in parts per million, value after power-up), its first boot count, its
    format, and the calibration that it keeps."""

    identity: Identity = field(default_factory=Identity)
    clock_ppm: float = 0.0
    first_clock_us: int = 0
    boot_count: int = 1
    bare: bool = False
    calibration: Calibration = field(default_factory=dict)


class Board:
    """`feed` takes what the host wrote, `advance` lets time pass; both return what the board sends meanwhile.

    What is sent until a time does not depend on how the way there is cut into calls of `advance`.
    """

    def __init__(self, traits: BoardTraits, converter: Converter) -> None:
        self.traits, self._converter = traits, converter
        self.now_s = 0.0
        self.running = False
        self.calibration = dict(traits.calibration)
        self._boot_count = traits.boot_count
        self._ticks_per_s = 1.0 + 1e-6 * traits.clock_ppm
        self._out: list[bytes] = []
        self._start_up(ResetCause.POWER_ON, traits.first_clock_us)

    def feed(self, data: bytes) -> bytes:
        """Answer the commands that `data` completes; a bare board does not listen."""
        if not self.traits.bare:
            self._send(self.commands.feed(data))
        return self._take()

    def advance(self, to_s: float) -> bytes:
        """Sample and beat until `to_s`."""
        while (beat_s := self._booted_s + (self._beats + 1) / self._ticks_per_s) <= to_s:
            self._sample_until(beat_s)
            self._beats += 1
            errors = len(self.commands.errors)
            self._send(Heartbeat(self._clock_us(beat_s), self.running, self._dropped & 0xFFFF, errors).encode())
        self._sample_until(to_s)
        self.now_s = max(self.now_s, to_s)
        return self._take()

    def start(self) -> None:
        """Begin to stream, as INITiate does; the first sample comes one period later."""
        if not self.running:
            self.running, self._origin_s, self._sampled = True, self.now_s, 0

    def stop(self) -> None:
        """Stop the stream, as ABORt does."""
        self.running = False

    def set_rate(self, rate_hz: int) -> None:
        """Sample so often from the next sample on."""
        if self.running:
            self._origin_s, self._sampled = self._sample_s(self._sampled), 0
        self.rate_hz = rate_hz

    def self_test(self) -> int:
        """What is wrong now, as the bits of `*TST?`; the last conversions will do."""
        channels = (SelfTest.SUPPLY_CHANNEL, SelfTest.CYLINDER_CHANNEL)
        found = (
            SelfTest(0) if REFERENCE_LOW_V <= self._converter.reference_v <= REFERENCE_HIGH_V else SelfTest.REFERENCE
        )
        for channel, volts in zip(channels, self._converter.last_volts, strict=True):
            if not LIVE_ZERO_V <= volts <= LIVE_FULL_V:
                found |= channel
        return int(found)

    def press(self, number: int, pressed: bool) -> None:
        """A button of the board goes down or up."""
        if number == MARK_BUTTON:
            self._mark_down = pressed
        self._send(InputEvent(self._clock_us(self.now_s), number, pressed).encode())

    def drop_frames(self, count: int) -> None:
        """The board fails to send its next samples; it counts them and says so in the flags of the one after."""
        self._to_drop += count

    def reset(self, cause: ResetCause, cut_bytes: int) -> None:
        """Start again in the middle of a line, of which `cut_bytes` still go out."""
        was_running = self.running
        if was_running:
            row = self._rows([self.now_s])
            self._out.append(row[: min(cut_bytes, len(row) - 2)])
        self._boot_count = (self._boot_count + 1) & 0xFFFF
        self._start_up(cause, 0)
        if self.traits.bare and was_running:
            self.start()

    # ---- inside ----

    def _start_up(self, cause: ResetCause, clock_us: int) -> None:
        self.running = False
        self.rate_hz = self.traits.identity.rate_hz
        self._mark_down = self._flag_drop = False
        self.commands = Commands(self.traits.identity, self, self.calibration)
        self._sequence = self._dropped = self._to_drop = self._beats = self._sampled = 0
        self._booted_s = self._origin_s = self.now_s
        self._first_clock_us = clock_us
        self._send(Boot(cause, self._boot_count, self.commands.calibrated).encode())

    def _send(self, frame: bytes) -> None:
        """Anything but samples: a bare board prints nothing else."""
        if not self.traits.bare:
            self._out.append(frame)

    def _take(self) -> bytes:
        out, self._out = b"".join(self._out), []
        return out

    def _clock_us(self, time_s: float) -> int:
        return (self._first_clock_us + round((time_s - self._booted_s) * self._ticks_per_s * 1e6)) & 0xFFFFFFFF

    def _sample_s(self, number: int) -> float:
        return self._origin_s + number / (self.rate_hz * self._ticks_per_s)

    def _sample_until(self, to_s: float) -> None:
        if not self.running:
            return
        last = floor((to_s - self._origin_s) * self.rate_hz * self._ticks_per_s) + 1
        while last > self._sampled and self._sample_s(last) > to_s:
            last -= 1
        if last > self._sampled:
            times_s = [self._sample_s(number) for number in range(self._sampled + 1, last + 1)]
            self._sampled = last
            self._out.append(self._rows(times_s))

    def _rows(self, times_s: list[float]) -> bytes:
        """The lines of the samples at these times, less those that the board fails to send."""
        seen = self._converter.convert(times_s)
        if self.traits.bare:
            return BareBlock(seen.supply_count, seen.cylinder_count).encode()
        count = len(times_s)
        sequence = (self._sequence + np.arange(count)).astype(np.uint16)
        self._sequence = (self._sequence + count) & 0xFFFF
        clock_us = np.array([self._clock_us(time_s) for time_s in times_s], np.uint32)
        flags = self._flags(seen)
        lost = self._fail_to_send(flags)
        block = SampleBlock(sequence, clock_us, seen.supply_count, seen.cylinder_count, seen.reference, flags)
        return block.rows(lost, count).encode()

    def _flags(self, seen: Conversions) -> npt.NDArray[np.uint8]:
        common = Flag.MARK_DOWN * self._mark_down | Flag.CALIBRATION_VALID * self.commands.calibrated
        common |= Flag.REFERENCE_LOW * (seen.reference_v < REFERENCE_LOW_V)
        common |= Flag.REFERENCE_HIGH * (seen.reference_v > REFERENCE_HIGH_V)
        channels = np.stack([seen.supply_count, seen.cylinder_count])
        saturated = ((channels == 0) | (channels == self._converter.traits.top_count)).any(axis=0)
        return np.where(saturated, common | Flag.SATURATED, common).astype(np.uint8)

    def _fail_to_send(self, flags: npt.NDArray[np.uint8]) -> int:
        """How many of these samples are lost; the first that is sent after them gets its flag."""
        lost = min(self._to_drop, len(flags))
        self._to_drop -= lost
        self._dropped += lost
        self._flag_drop |= lost > 0
        if self._flag_drop and lost < len(flags):
            flags[lost] |= Flag.TRANSMIT_DROP
            self._flag_drop = False
        return lost
