"""A board in memory that keeps the specification, behind what looks like a port.

Time passes only while somebody reads. A test breaks one rule by overriding one method.
"""

from __future__ import annotations

import math

import numpy as np

from daq.wire import (
    DEFAULT_RATE_HZ,
    ERROR_QUEUE_LENGTH,
    ERROR_TEXTS,
    Command,
    CommandError,
    Flag,
    Heartbeat,
    Reply,
    SampleBlock,
    max_rate_hz,
    parse_command,
)

BLANK = "0,0,00000000"


class FakeBoard:
    """`write` takes commands, `read` gives frames; `clock` is the host's clock that goes with them."""

    identity = "Invented Instruments,Bench Board,0042,1.0.3"
    converter = "12,RATIO"
    baud = 115_200

    def __init__(self, calibrated: bool = False) -> None:
        self.timeout: float | None = None
        self.host_s = 100.0
        self.out, self.line = bytearray(), bytearray()
        self.rate_hz, self.running, self.sequence = DEFAULT_RATE_HZ, False, 0
        self.beat_s, self.sample_s = self.host_s, math.inf
        self.errors: list[int] = []
        stored = "500000,258553,20250110" if calibrated else BLANK
        self.calibration = {"SUPPLY": stored, "CYLINDER": stored}

    # ---- the port

    @property
    def in_waiting(self) -> int:
        return len(self.out)

    def clock(self) -> float:
        return self.host_s

    def read(self, size: int = 1, /) -> bytes:
        if not self.out:
            self.let_pass(self.timeout or 0.0)
        data = bytes(self.out[:size])
        del self.out[:size]
        return data

    def write(self, data: bytes, /) -> int:
        for byte in data:
            if byte == 0x0A:
                self.take_line(bytes(self.line))
                self.line.clear()
            else:
                self.line.append(byte)
        return len(data)

    def let_pass(self, seconds: float) -> None:
        until_s = self.host_s + seconds
        while (next_s := min(self.beat_s, self.sample_s)) <= until_s:
            self.host_s = next_s
            if next_s == self.beat_s:
                self.beat()
            else:
                self.sample()
        self.host_s = until_s

    # ---- what it sends

    def send(self, data: bytes) -> None:
        self.out += data

    def clock_us(self) -> int:
        return round((self.host_s - 99) * 1e6) % (1 << 32)

    def beat(self) -> None:
        self.beat_s += 1.0
        self.send(Heartbeat(self.clock_us(), self.running, 0, len(self.errors)).encode())

    def sample(self) -> None:
        self.sample_s += 1 / self.rate_hz
        self.send(self.sample_line())
        self.sequence = (self.sequence + 1) % (1 << 16)

    def sample_line(self, **changed: int) -> bytes:
        """One sample; `changed` replaces fields by name."""
        fields = {
            "sequence": self.sequence,
            "clock_us": self.clock_us(),
            "supply_count": 2594,
            "cylinder_count": 2419,
            "reference": 49_870,
            "flags": Flag.CALIBRATION_VALID if self.valid() else 0,
        } | changed
        types = (np.uint16, np.uint32, np.uint16, np.uint16, np.uint16, np.uint8)
        return SampleBlock(*(np.array([v], t) for v, t in zip(fields.values(), types, strict=True))).encode()

    def reply(self, tag: int, status: int, text: str) -> None:
        self.send(Reply(tag, status, text).encode())

    # ---- what it understands

    def valid(self) -> bool:
        return BLANK not in self.calibration.values()

    def take_line(self, line: bytes) -> None:
        if not line.strip(b" \t\r"):
            return
        try:
            command = parse_command(line)
        except CommandError as error:
            self.refuse(error.tag, error.number)
            return
        try:
            text = self.execute(command)
        except CommandError as error:
            self.refuse(command.tag, error.number)
            return
        self.reply(command.tag, 0, text)

    def refuse(self, tag: int, number: int) -> None:
        self.queue(number)
        self.reply(tag, number, ERROR_TEXTS[number])

    def queue(self, number: int) -> None:
        if len(self.errors) < ERROR_QUEUE_LENGTH:
            self.errors.append(number)
        else:
            self.errors[-1] = -350

    def execute(self, command: Command) -> str:
        name = command.header.strip("*").replace(":", "_").lower() + ("_query" if command.query else "")
        return getattr(self, f"do_{name}")(*command.arguments) or ""

    def do_idn_query(self) -> str:
        return self.identity

    def do_rst(self) -> None:
        self.do_abort()
        self.rate_hz = DEFAULT_RATE_HZ

    def do_cls(self) -> None:
        self.errors.clear()

    def do_tst_query(self) -> str:
        return "0"

    def do_system_error_query(self) -> str:
        number = self.errors.pop(0) if self.errors else 0
        return f'{number},"{ERROR_TEXTS[number]}"'

    def do_system_protocol_query(self) -> str:
        return "1"

    def do_configure_rate(self, rate: str) -> None:
        if int(rate) > max_rate_hz(self.baud):
            raise CommandError(-221)
        self.rate_hz = int(rate)

    def do_configure_rate_query(self) -> str:
        return str(self.rate_hz)

    def do_configure_adc_query(self) -> str:
        return self.converter

    def do_initiate(self) -> None:
        if not self.running:
            self.running, self.sample_s = True, self.host_s + 1 / self.rate_hz

    def do_abort(self) -> None:
        self.running, self.sample_s = False, math.inf

    def do_calibration_data(self, channel: str, *values: str) -> None:
        if self.running:
            raise CommandError(-221)
        self.calibration[channel] = ",".join(values)

    def do_calibration_data_query(self, channel: str) -> str:
        return self.calibration[channel]

    def do_calibration_state_query(self) -> str:
        return str(int(self.valid()))
