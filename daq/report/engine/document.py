"""What a report is made of, whatever it becomes: blocks that hold text as text. Markup is the renderers' business.

`Mark` is how a verdict is told apart without colour: each has a shape of its own, and always its word beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    SOUND = "sound"
    WATCH = "watch"
    INVESTIGATE = "investigate"
    UNCLEAR = "unclear"


class Tone(StrEnum):
    PLAIN = "plain"
    SMALL = "small"
    STRONG = "strong"


@dataclass(frozen=True, slots=True)
class Paragraph:
    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Items:
    texts: tuple[str, ...]
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Facts:
    """Pairs of a word and what is to be said of it."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """`number`: set flush right, so that the digits stand below each other."""

    text: str
    mark: Mark | None = None
    number: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def of_numbers(self, column: int) -> bool:
        return bool(self.rows) and all(row[column].number or not row[column].text for row in self.rows)


@dataclass(frozen=True, slots=True)
class Chart:
    """An SVG of its own, and what it shows in words. `narrow` is the same for a screen of a hand's width."""

    svg: str
    words: str
    narrow: str = ""


@dataclass(frozen=True, slots=True)
class Gallery:
    """Small charts, two beside each other where there is room."""

    charts: tuple[Chart, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """What the report is for: a word with its mark, one sentence, and what stands below it."""

    word: str
    mark: Mark
    sentence: str
    below: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Signatures:
    """Lines to sign on."""

    words: tuple[str, ...]


Block = Paragraph | Items | Facts | Table | Chart | Gallery | Advice | Signatures


@dataclass(frozen=True, slots=True)
class Section:
    """`together`: kept on one page if it fits."""

    title: str
    blocks: tuple[Block, ...]
    together: bool = True


@dataclass(frozen=True, slots=True)
class Document:
    kind: str
    title: str
    subtitle: str
    head: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    foot: str


def unbroken(text: str) -> str:
    """The same text, with a number kept on one line with its percent sign and its uncertainty."""
    return text.replace(" %", "\u00a0%").replace(" ±", "\u00a0±")
