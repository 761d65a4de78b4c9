"""Talking to a board that may break any rule: everything heard is kept, in order and with its time of arrival."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol

from daq.errors import UnavailableError
from daq.wire import Decoder, Frame, Reply, encode_command

REPLY_WAIT_S = 1.0
IN_TIME_S = 0.3
"""200 ms that a board is allowed, and what host and USB may add."""
POLL_S = 0.02
FIRST_TAG = 0xC001
"""High, so that a late reply to a program that used the port before is not taken for one of ours."""


class Port(Protocol):
    """What is needed of an open port; a `serial.Serial` has it."""

    timeout: float | None

    @property
    def in_waiting(self) -> int: ...
    def read(self, size: int = ..., /) -> bytes: ...
    def write(self, b: bytes, /) -> int | None: ...


@dataclass(frozen=True, slots=True)
class Heard:
    """A frame and the host's time when the piece of the stream that ended it arrived."""

    arrived_s: float
    frame: Frame


@dataclass(frozen=True, slots=True)
class Exchange:
    """A command and its reply. `heard_at` is the place of the reply among all that was heard."""

    text_sent: str
    tag: int
    reply: Reply | None
    delay_s: float
    heard_at: int

    @property
    def text(self) -> str:
        return self.reply.text if self.reply is not None else ""

    @property
    def in_time(self) -> bool:
        return self.reply is not None and self.delay_s <= IN_TIME_S

    def answers(self, status: int, pattern: str) -> bool:
        """Whether the reply has this status, and a text that matches as a whole."""
        reply = self.reply
        return reply is not None and reply.status == status and re.fullmatch(pattern, reply.text) is not None

    def replies(self, heard: list[Heard]) -> int:
        """How many replies bear the tag of a tagged command; 1 for an untagged one that was answered."""
        if not self.tag:
            return int(self.reply is not None)
        return sum(isinstance(item.frame, Reply) and item.frame.tag == self.tag for item in heard)

    def __str__(self) -> str:
        if self.reply is None:
            return f"{self.text_sent!r} -> no reply in {REPLY_WAIT_S:g} s"
        return f"{self.text_sent!r} -> {self.reply.status} {self.reply.text!r} after {self.delay_s * 1000:.0f} ms"


class Dialogue:
    """One conversation on one port, as a context; the port's time-out is put back at the end."""

    def __init__(self, port: Port, clock: Callable[[], float]) -> None:
        self._port, self._clock = port, clock
        self._decoder = Decoder(synchronised=False)
        self._tag = FIRST_TAG
        self._timeout = port.timeout
        self.began_s = clock()
        self.heard: list[Heard] = []
        self.raw = bytearray()
        self.exchanges: list[Exchange] = []

    def __enter__(self) -> Dialogue:
        self._port.timeout = POLL_S
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if error is None:
            self._port.timeout = self._timeout
        if isinstance(error, OSError):
            raise UnavailableError(
                "The port failed during the check.", "Look at plug and cable, then check again.", str(error)
            ) from error

    def listen(self, seconds: float) -> None:
        """Hear for so long."""
        until_s = self._clock() + seconds
        while self._clock() < until_s:
            self._read()

    def send(self, data: bytes) -> None:
        self._port.write(data)

    def replies_to(self, data: bytes, seconds: float) -> list[Reply]:
        """All replies within so long after sending something that may be no command."""
        mark = len(self.heard)
        self.send(data)
        self.listen(seconds)
        return [item.frame for item in self.heard[mark:] if isinstance(item.frame, Reply)]

    def ask(self, text: str, tagged: bool = True, ending: bytes = b"\n") -> Exchange:
        """Send a command and wait for the reply with its tag."""
        tag = self._tag if tagged else 0
        self._tag += 1
        mark, sent_s = len(self.heard), self._clock()
        self.send(encode_command(text, tag or None).removesuffix(b"\n") + ending)
        place, reply = self._wait_for(tag, mark, sent_s + REPLY_WAIT_S)
        delay_s = REPLY_WAIT_S if reply is None else self.heard[place].arrived_s - sent_s
        exchange = Exchange(text, tag, reply, delay_s, place)
        self.exchanges.append(exchange)
        return exchange

    def _wait_for(self, tag: int, mark: int, until_s: float) -> tuple[int, Reply | None]:
        """The place of the reply among what is heard from `mark` on, and the reply."""
        while True:
            for place in range(mark, len(self.heard)):
                frame = self.heard[place].frame
                if isinstance(frame, Reply) and frame.tag == tag:
                    return place, frame
            mark = len(self.heard)
            if self._clock() >= until_s:
                return mark, None
            self._read()

    def _read(self) -> None:
        data = self._port.read(max(1, self._port.in_waiting))
        arrived_s = self._clock()
        self.raw += data
        self.heard += [Heard(arrived_s, frame) for frame in self._decoder.feed(data)]
