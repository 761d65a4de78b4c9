"""What a board answers to commands, and what it keeps: the error queue, the sample rate, the calibration."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from daq.wire import (
    ERROR_QUEUE_LENGTH,
    ERROR_TEXTS,
    PROTOCOL_VERSION,
    CommandError,
    Reply,
    max_rate_hz,
    parse_command,
)

_LONGEST_LINE = 200
Calibration = dict[str, tuple[int, int, int]]
"""For SUPPLY and CYLINDER: zero in uV, Pa per V, date as yyyymmdd."""


@dataclass(frozen=True, slots=True)
class Identity:
    """The four fields of `*IDN?`, and what else a host may ask for."""

    maker: str = "Boretight"
    model: str = "Simulated"
    serial: str = "SIM0001"
    firmware: str = "1.0"
    bits: int = 12
    absolute: bool = False
    baud: int = 115_200
    rate_hz: int = 200


class Stream(Protocol):
    """What commands start, stop and ask."""

    @property
    def running(self) -> bool: ...

    @property
    def rate_hz(self) -> int: ...

    def set_rate(self, rate_hz: int) -> None: ...

    def start(self) -> None: ...

    def stop(self) -> None: ...

    def self_test(self) -> int: ...


@dataclass(slots=True)
class Commands:
    """Answers lines, one reply each. See firmware_spec/protocol.md, section 10.

    `calibration` outlives a restart of the board, all else begins anew with a new object.
    """

    identity: Identity
    stream: Stream
    calibration: Calibration
    errors: deque[int] = field(default_factory=deque)
    _partial: bytes = b""

    @property
    def calibrated(self) -> bool:
        return {"SUPPLY", "CYLINDER"} <= self.calibration.keys()

    @property
    def pending(self) -> int:
        """Bytes kept of a line that has not ended."""
        return len(self._partial)

    def feed(self, data: bytes) -> bytes:
        """The replies to the lines that `data` completes. Blank lines are skipped, endless ones do not pile up."""
        *lines, rest = (self._partial + data).split(b"\n")
        self._partial = rest[:_LONGEST_LINE]
        return b"".join(self._answer(line).encode() for line in lines if line.strip(b" \t\r"))

    def _answer(self, line: bytes) -> Reply:
        tag = 0
        try:
            command = parse_command(line)
            tag = command.tag
            return Reply(tag, 0, _HANDLERS[command.header, command.query](self, *command.arguments))
        except CommandError as error:
            self._remember(error.number)
            return Reply(error.tag or tag, error.number, error.text)

    def _remember(self, number: int) -> None:
        if len(self.errors) < ERROR_QUEUE_LENGTH:
            self.errors.append(number)
        else:
            self.errors[-1] = -350

    # ---- one handler for each command ----

    def _describe(self) -> str:
        identity = self.identity
        return ",".join((identity.maker, identity.model, identity.serial, identity.firmware))

    def _defaults(self) -> str:
        self.stream.stop()
        self.stream.set_rate(self.identity.rate_hz)
        return ""

    def _clear(self) -> str:
        self.errors.clear()
        return ""

    def _self_test(self) -> str:
        return str(self.stream.self_test())

    def _next_error(self) -> str:
        number = self.errors.popleft() if self.errors else 0
        return f'{number},"{ERROR_TEXTS[number]}"'

    def _protocol(self) -> str:
        return str(PROTOCOL_VERSION)

    def _set_rate(self, rate: str) -> str:
        if int(rate) > max_rate_hz(self.identity.baud):
            raise CommandError(-221)
        self.stream.set_rate(int(rate))
        return ""

    def _rate(self) -> str:
        return str(self.stream.rate_hz)

    def _converter(self) -> str:
        return f"{self.identity.bits},{'ABS' if self.identity.absolute else 'RATIO'}"

    def _initiate(self) -> str:
        self.stream.start()
        return ""

    def _abort(self) -> str:
        self.stream.stop()
        return ""

    def _set_calibration(self, channel: str, zero_uv: str, pa_per_v: str, date: str) -> str:
        if self.stream.running:
            raise CommandError(-221)
        self.calibration[channel] = (int(zero_uv), int(pa_per_v), int(date))
        return ""

    def _calibration(self, channel: str) -> str:
        zero_uv, pa_per_v, date = self.calibration.get(channel, (0, 0, 0))
        return f"{zero_uv},{pa_per_v},{date:08d}"

    def _calibration_state(self) -> str:
        return str(int(self.calibrated))


_HANDLERS: dict[tuple[str, bool], Callable[..., str]] = {
    ("*IDN", True): Commands._describe,
    ("*RST", False): Commands._defaults,
    ("*CLS", False): Commands._clear,
    ("*TST", True): Commands._self_test,
    ("SYSTEM:ERROR", True): Commands._next_error,
    ("SYSTEM:PROTOCOL", True): Commands._protocol,
    ("CONFIGURE:RATE", False): Commands._set_rate,
    ("CONFIGURE:RATE", True): Commands._rate,
    ("CONFIGURE:ADC", True): Commands._converter,
    ("INITIATE", False): Commands._initiate,
    ("ABORT", False): Commands._abort,
    ("CALIBRATION:DATA", False): Commands._set_calibration,
    ("CALIBRATION:DATA", True): Commands._calibration,
    ("CALIBRATION:STATE", True): Commands._calibration_state,
}
