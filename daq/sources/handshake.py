"""Getting to know a board on an open port. Ref: firmware_spec/protocol.md, start-up and handshake."""

from __future__ import annotations

import random
import re
import time
from collections.abc import Callable
from typing import Protocol

from daq.errors import ProtocolError, UnavailableError
from daq.records import Board, LineFormat, ReferenceMode
from daq.sources.ports import LineSettings
from daq.wire import PROTOCOL_VERSION, Decoder, Reply, encode_command

IDENTITY_TRIES = 3
REPLY_WAIT_S = 1.0
POLL_S = 0.01
BARE_LINES_ENOUGH = 5
ERRORS_AT_MOST = 16
READ_SIZE = 65_536
_BARE_LINE = re.compile(rb"\d{1,5}(?:[ \t]*[,;][ \t]*|[ \t]+)\d{1,5}\r?")


class Port(Protocol):
    """What is needed of a port: a read that does not block, and a write."""

    def read(self, size: int = ..., /) -> bytes: ...
    def write(self, b: bytes, /) -> int | None: ...


class Conversation:
    """Commands and their tagged replies on one port. All that is read goes to `seen`, whatever it is."""

    def __init__(self, port: Port, seen: Callable[[bytes], None]) -> None:
        self._port, self._seen = port, seen
        self._decoder = Decoder()
        # A late reply to an earlier conversation must not be taken for one of this: its tags start elsewhere.
        self._tag = random.randrange(0xFFFF)
        self.tail = b""

    def ask(self, text: str) -> Reply | None:
        """The reply to this very command, or None if none came in time."""
        self._tag = self._tag % 0xFFFF + 1
        self._port.write(encode_command(text, self._tag))
        until_s = time.monotonic() + REPLY_WAIT_S
        while time.monotonic() < until_s:
            data = self._port.read(READ_SIZE)
            if not data:
                time.sleep(POLL_S)
                continue
            self._seen(data)
            self.tail = (self.tail + data)[-4096:]
            for frame in self._decoder.feed(data):
                if isinstance(frame, Reply) and frame.tag == self._tag:
                    return frame
        return None

    def need(self, text: str) -> str:
        """The text of the reply. Raises ProtocolError if there is none or the board refuses."""
        reply = self.ask(text)
        if reply is None:
            raise ProtocolError(
                f"The board did not answer {text}.",
                todo="Check the board with `boretight board check`.",
                evidence=repr(self.tail[-80:]),
            )
        if reply.status != 0:
            raise ProtocolError(
                f"The board refused {text}.", todo=_refusal_advice(text), evidence=f"{reply.status} {reply.text}"
            )
        return reply.text


def handshake(port: Port, url: str, settings: LineSettings, seen: Callable[[bytes], None]) -> Board:
    """Identity, protocol, errors, self-test, converter, rate; the board stands ready for INITiate afterwards.

    Blocks for at most some seconds. Raises UnavailableError (nothing answers) or ProtocolError.
    """
    if settings.line_format == LineFormat.BARE:
        return _bare_board(url, settings)
    talk = Conversation(port, seen)
    port.write(b"\n")
    identity = _identity(talk)
    if identity is None:
        if settings.line_format == "auto" and _looks_bare(talk.tail):
            return _bare_board(url, settings)
        raise _nobody(url, talk.tail)
    talk.need("ABOR")
    _check_protocol(talk.need("SYST:PROT?"))
    _drain_errors(talk)
    self_test = talk.need("*TST?")
    bits, mode = _converter(talk.need("CONF:ADC?"))
    talk.need(f"CONF:RATE {settings.rate_hz}")
    maker, model, serial, firmware = (part.strip() for part in (identity.split(",") + [""] * 4)[:4])
    return Board(
        LineFormat.FRAMED, bits, mode, float(settings.rate_hz), maker, model, serial, firmware,
        PROTOCOL_VERSION, self_test, url,
    )  # fmt: skip


def _identity(talk: Conversation) -> str | None:
    for _ in range(IDENTITY_TRIES):
        reply = talk.ask("*IDN?")
        if reply is not None and reply.status == 0:
            return reply.text
    return None


def _check_protocol(text: str) -> None:
    if text.strip() != str(PROTOCOL_VERSION):
        raise ProtocolError(
            f"The board speaks protocol {text}, this program speaks {PROTOCOL_VERSION}.",
            todo="Update the older of the two: the board's firmware or boretight.",
        )


def _drain_errors(talk: Conversation) -> None:
    for _ in range(ERRORS_AT_MOST):
        if talk.need("SYST:ERR?").startswith("0"):
            return


def _converter(text: str) -> tuple[int, ReferenceMode]:
    try:
        bits, mode = text.split(",")
        return int(bits), ReferenceMode(mode.strip())
    except ValueError as error:
        raise ProtocolError(
            "The board describes its converter in a way the specification does not know.",
            todo="Check the board with `boretight board check`.",
            evidence=f"CONF:ADC? -> {text!r}",
        ) from error


def _looks_bare(tail: bytes) -> bool:
    lines = tail.split(b"\n")[1:-1]
    good = sum(_BARE_LINE.fullmatch(line) is not None for line in lines)
    return good >= BARE_LINES_ENOUGH and good >= 0.9 * len(lines)


def _bare_board(url: str, settings: LineSettings) -> Board:
    return Board(LineFormat.BARE, settings.bare_bits, model="bare numbers", url=url)


def _nobody(url: str, tail: bytes) -> UnavailableError:
    if tail:
        todo = "Is the baud rate right, and is this port the board? It sends, but not as the specification says."
        return UnavailableError(f"What answers on {url} is not a board that boretight knows.", todo, repr(tail[-60:]))
    return UnavailableError(f"Nothing answers on {url}.", "Is the board powered and flashed? Try `boretight ports`.")


def _refusal_advice(text: str) -> str:
    if text.startswith("CONF:RATE"):
        return "Lower [line] rate_hz or raise [line] baud: the board refuses a rate that its line cannot carry."
    return "Check the board with `boretight board check`."
