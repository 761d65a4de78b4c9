"""Commands to a board, in the style of SCPI: what a host writes and how a board reads it.

Ref: IEEE 488.2 common commands; SCPI-1999 volume 2, 21.8 (error numbers and texts). SCPI-like, not compliant.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from daq.errors import BoretightError
from daq.wire.samples import SAMPLE_BYTES

ERROR_TEXTS = {
    0: "No error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -350: "Queue overflow",
}
ERROR_QUEUE_LENGTH = 8
MAX_COMMAND_BYTES = 80
DEFAULT_RATE_HZ = 200
LARGEST_RATE_HZ = 10_000
LINK_SHARE = 0.8
BITS_PER_BYTE = 10
"""On the line, 8N1: start bit, eight data bits, stop bit."""


def max_rate_hz(baud: int) -> float:
    """The highest rate that a link may be set to: samples take at most 80 % of it, the rest is for other frames."""
    return LINK_SHARE * baud / (SAMPLE_BYTES * BITS_PER_BYTE)


class CommandError(BoretightError):
    """A board refuses a command. `number` is the SCPI error, `text` its text, `tag` that of the command."""

    def __init__(self, number: int, text: str = "", tag: int = 0) -> None:
        self.number, self.text, self.tag = number, text or ERROR_TEXTS[number], tag
        super().__init__(f"The board refused a command: {number}, {self.text}.", "Correct the command.")


@dataclass(frozen=True, slots=True)
class Command:
    """A command as a board understood it. `header` is the long form in upper case, without the `?` of a query;
    keywords among the arguments are in their long form too."""

    header: str
    query: bool
    arguments: tuple[str, ...]
    tag: int


@dataclass(frozen=True, slots=True)
class _Whole:
    """A decimal whole number within limits, both included."""

    low: int
    high: int

    _PATTERN = re.compile(r"[+-]?[0-9]+", re.ASCII)

    def check(self, text: str) -> str:
        if self._PATTERN.fullmatch(text) is None:
            raise CommandError(-104)
        if not self.low <= int(text) <= self.high:
            raise CommandError(-222)
        return str(int(text))


@dataclass(frozen=True, slots=True)
class _Keyword:
    """One of some words, each in its long or short form."""

    words: tuple[str, ...]

    def check(self, text: str) -> str:
        for word in self.words:
            if _is_word(text, word):
                return word.upper()
        raise CommandError(-224)


_RATE = _Whole(1, LARGEST_RATE_HZ)
_CHANNEL = _Keyword(("SUPPly", "CYLinder"))
_ZERO_UV = _Whole(-10_000_000, 10_000_000)
_PA_PER_V = _Whole(1, 2_000_000_000)
_DATE = _Whole(20000101, 20991231)

_FORMS: dict[str, tuple[_Whole | _Keyword, ...]] = {
    "*IDN?": (),
    "*RST": (),
    "*CLS": (),
    "*TST?": (),
    "SYSTem:ERRor?": (),
    "SYSTem:PROTocol?": (),
    "CONFigure:RATE": (_RATE,),
    "CONFigure:RATE?": (),
    "CONFigure:ADC?": (),
    "INITiate": (),
    "ABORt": (),
    "CALibration:DATA": (_CHANNEL, _ZERO_UV, _PA_PER_V, _DATE),
    "CALibration:DATA?": (_CHANNEL,),
    "CALibration:STATe?": (),
}
_LINE = re.compile(r"[ \t]*(?:@([0-9A-Fa-f]{4})[ \t]+)?([^ \t@]+)(?:[ \t]+(.*))?", re.ASCII)
_PRINTABLE = re.compile(rb"[\t -~]*")


def parse_command(line: bytes) -> Command:
    """Read one line as a board does, with or without its LF and CR.

    Raises CommandError with the number that the reply and the error queue take. A blank line is no command: a board
    skips it without a reply; here it raises -113.
    """
    line = line.removesuffix(b"\n").removesuffix(b"\r")
    if len(line) > MAX_COMMAND_BYTES or _PRINTABLE.fullmatch(line) is None:
        raise CommandError(-113)
    found = _LINE.fullmatch(line.decode("ascii"))
    if found is None:
        raise CommandError(-113)
    tag = int(found[1] or "0", 16)
    try:
        return _interpret(found[2], (found[3] or "").strip(" \t"), tag)
    except CommandError as error:
        raise CommandError(error.number, error.text, tag) from None


def encode_command(text: str, tag: int | None = None) -> bytes:
    """The line of a command, with its LF and, unless `tag` is None, its tag."""
    line = (text if tag is None else f"@{tag:04X} {text}").encode("ascii")
    if len(line) > MAX_COMMAND_BYTES or _PRINTABLE.fullmatch(line) is None:
        raise ValueError(f"not a command line: {line!r}")
    return line + b"\n"


def _interpret(header: str, rest: str, tag: int) -> Command:
    form = next((form for form in _FORMS if _is_header(header, form)), None)
    if form is None:
        raise CommandError(-113)
    wanted = _FORMS[form]
    given = [text.strip(" \t") for text in rest.split(",")] if rest else []
    if len(given) < len(wanted) or "" in given:
        raise CommandError(-109)
    if len(given) > len(wanted):
        raise CommandError(-108)
    arguments = tuple(kind.check(text) for kind, text in zip(wanted, given, strict=True))
    return Command(form.removesuffix("?").upper(), form.endswith("?"), arguments, tag)


def _is_header(text: str, form: str) -> bool:
    """Whether `text` is the header `form`, each word in its long or short form, and a query when that is one."""
    if text.endswith("?") != form.endswith("?"):
        return False
    words, wanted = text.removesuffix("?").split(":"), form.removesuffix("?").split(":")
    return len(words) == len(wanted) and all(map(_is_word, words, wanted))


def _is_word(text: str, word: str) -> bool:
    """Whether `text` is `word` in its long form or in its short form, which is the part in upper case."""
    short = "".join(letter for letter in word if not letter.islower())
    return text.upper() in (word.upper(), short)
