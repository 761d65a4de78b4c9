"""Getting to know a board: a scripted one answers, stays silent, refuses, or is no board at all."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from daq.errors import ProtocolError, UnavailableError
from daq.records import LineFormat, ReferenceMode
from daq.sources import handshake as module
from daq.sources.handshake import handshake
from daq.sources.ports import LineSettings
from daq.wire import Reply, parse_command

ANSWERS = {
    "*IDN": (0, "invented,bench board,0042,1.0"),
    "ABORT": (0, ""),
    "SYSTEM:PROTOCOL": (0, "1"),
    "SYSTEM:ERROR": (0, '0,"No error"'),
    "*TST": (0, "0"),
    "CONFIGURE:ADC": (0, "16,ABS"),
    "CONFIGURE:RATE": (0, ""),
}


class Scripted:
    """A port in memory: each command line is answered from a table, after some noise."""

    def __init__(self, answers: dict[str, tuple[int, str]], noise: bytes = b"", deaf_to: int = 0) -> None:
        self.answers, self.noise, self.deaf_to = answers, noise, deaf_to
        self.asked: list[str] = []
        self._out = b""

    def write(self, data: bytes, /) -> int:
        for line in data.split(b"\n"):
            if line:
                self._answer(line)
        return len(data)

    def _answer(self, line: bytes) -> None:
        command = parse_command(line)
        self.asked.append(command.header)
        if len(self.asked) > self.deaf_to and command.header in self.answers:
            status, text = self.answers[command.header]
            self._out += self.noise + Reply(command.tag, status, text).encode()

    def read(self, size: int = 1, /) -> bytes:
        data, self._out = self._out[:7], self._out[7:]
        return data or self.idle()

    idle: Callable[[], bytes] = staticmethod(lambda: b"")


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "REPLY_WAIT_S", 0.05)
    monkeypatch.setattr(module, "POLL_S", 0.001)


def greet(port: Scripted, settings: LineSettings | None = None) -> object:
    return handshake(port, "loop://", settings or LineSettings(), lambda data: None)


def test_a_board_tells_who_it_is_and_how_it_measures() -> None:
    port = Scripted(ANSWERS, noise=b"half a line\n")
    board = handshake(port, "loop://", LineSettings(rate_hz=100), lambda data: None)
    assert (board.maker, board.model, board.serial, board.firmware) == ("invented", "bench board", "0042", "1.0")
    assert (board.bits, board.reference_mode, board.rate_hz) == (16, ReferenceMode.ABSOLUTE, 100.0)
    assert "INITIATE" not in port.asked


def test_everything_read_is_seen_by_the_raw_log() -> None:
    seen: list[bytes] = []
    handshake(Scripted(ANSWERS, noise=b"noise\n"), "loop://", LineSettings(), seen.append)
    assert b"invented,bench board" in b"".join(seen) and b"noise" in b"".join(seen)


def test_a_board_that_is_still_booting_gets_three_tries() -> None:
    assert greet(Scripted(ANSWERS, deaf_to=2))
    with pytest.raises(UnavailableError, match="Nothing answers"):
        greet(Scripted(ANSWERS, deaf_to=3))


def test_the_error_queue_is_emptied() -> None:
    class Queue(Scripted):
        left = 3

        def _answer(self, line: bytes) -> None:
            if b"ERR" in line.upper():
                self.left -= 1
                self.answers = {
                    **self.answers,
                    "SYSTEM:ERROR": (0, '-113,"Undefined header"' if self.left else '0,"No error"'),
                }
            super()._answer(line)

    port = Queue(ANSWERS)
    greet(port)
    assert port.asked.count("SYSTEM:ERROR") == 3


@pytest.mark.parametrize(
    ("header", "answer", "words"),
    [
        ("SYSTEM:PROTOCOL", (0, "2"), "speaks protocol 2"),
        ("CONFIGURE:ADC", (0, "sixteen,RATIO"), "sixteen,RATIO"),
        ("CONFIGURE:ADC", (0, "16"), "does not know"),
        ("CONFIGURE:RATE", (-221, "Settings conflict"), "Lower [line] rate_hz"),
    ],
)
def test_what_the_specification_does_not_allow_is_told(header: str, answer: tuple[int, str], words: str) -> None:
    with pytest.raises(ProtocolError) as caught:
        greet(Scripted({**ANSWERS, header: answer}))
    assert words in str(caught.value)


def test_a_board_that_stops_answering_is_told() -> None:
    answers = {key: value for key, value in ANSWERS.items() if key != "*TST"}
    with pytest.raises(ProtocolError, match=r"did not answer \*TST"):
        greet(Scripted(answers))


def bare(lines: bytes) -> Scripted:
    port = Scripted({})
    port.idle = lambda: lines
    return port


def test_two_numbers_a_line_are_recognised_as_a_bare_board() -> None:
    board = handshake(bare(b"512,731\r\n513 730\n"), "loop://", LineSettings(bare_bits=12), lambda data: None)
    assert (board.line_format, board.bits, board.rate_hz) == (LineFormat.BARE, 12, None)


@pytest.mark.parametrize("lines", [b"\x00\xffgarbage\xfe\n", b"temperature 21\n", b"1,2,3\n"])
def test_anything_else_that_talks_is_not_taken_for_a_board(lines: bytes) -> None:
    with pytest.raises(UnavailableError, match="not a board"):
        greet(bare(lines))


def test_a_bare_board_is_not_guessed_where_framed_is_demanded() -> None:
    with pytest.raises(UnavailableError):
        greet(bare(b"512,731\n"), LineSettings(line_format="framed"))
