"""What the operator says of a leak: `exhaust`, `4: crankcase faint`, `next-cylinder 3 clear at its plug hole`. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass

from daq.errors import UsageError
from daq.records import MarkKind, Place, Strength

GRAMMAR = re.compile(
    r"\s*(?:(?P<cylinder>\d{1,2})\s*:\s*)?(?P<place>[a-z-]+)(?:\s+(?P<neighbour>\d{1,2}))?"
    r"(?:\s+(?P<strength>none|faint|clear))?(?:\s+(?P<note>\S.*))?\s*",
    re.IGNORECASE | re.DOTALL,
)
ROCKED = re.compile(r"\s*(?P<cylinder>\d{1,2})\s*:\s*(?P<what>changed|same)\s*", re.IGNORECASE)
OTHER_WORDS = {
    "carburettor": Place.INTAKE,
    "throttle": Place.INTAKE,
    "tailpipe": Place.EXHAUST,
    "breather": Place.CRANKCASE,
    "oil-filler": Place.CRANKCASE,
    "dipstick": Place.CRANKCASE,
    "radiator": Place.COOLANT,
    "next": Place.NEXT_CYLINDER,
    "plug-hole": Place.NEXT_CYLINDER,
}
"""Where a person stands when it hisses; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Words:
    """A finding as it was said; `cylinder` is None where the one under test is meant."""

    cylinder: int | None
    place: Place
    strength: Strength
    neighbour: int | None
    note: str


def one_line(text: str) -> str:
    """What can be printed of it: anything else may command a terminal, and is a blank."""
    return "".join(each if each.isprintable() else " " for each in text).strip()


def words_of(text: str) -> Words:
    """Raises UsageError that names the places, if this is not `[cylinder:] place [neighbour] [strength] [note]`."""
    found = GRAMMAR.fullmatch(one_line(text))
    place = _place(found["place"].lower()) if found else None
    if found is None or place is None:
        raise UsageError(
            "Where was it heard?",
            f"Say one of {', '.join(Place)}; then none, faint or clear; then what you like, as in `exhaust clear`.",
            repr(text[:80]),
        )
    if found["neighbour"] and place is not Place.NEXT_CYLINDER:
        raise UsageError(
            f"A number after {place} means nothing.", "Put the cylinder in front: `3: exhaust`.", repr(text[:80])
        )
    if found["neighbour"] and found["neighbour"] == found["cylinder"]:
        raise UsageError("No cylinder leaks into itself.", "Name the one whose plug hole it was.", repr(text[:80]))
    return Words(
        _number(found["cylinder"]),
        place,
        Strength(found["strength"].lower()) if found["strength"] else Strength.CLEAR,
        _number(found["neighbour"]),
        (found["note"] or "").strip(),
    )


def rocked_of(text: str) -> tuple[int, bool]:
    """The cylinder, and whether rocking the crank changed its loss: `3: changed` or `3: same`, else UsageError."""
    found = ROCKED.fullmatch(one_line(text))
    if found is None:
        raise UsageError(
            "Which cylinder, and did rocking the crank change its loss?",
            "Say `3: changed` or `3: same`.",
            repr(text[:80]),
        )
    return int(found["cylinder"]), found["what"].lower() == "changed"


def named_cylinders(kind: str, text: str) -> tuple[int, ...]:
    """The cylinders that a mark of this kind names. UsageError if its text cannot be read."""
    if kind == MarkKind.CYLINDER:
        if not re.fullmatch("[0-9]{1,9}", text):
            raise UsageError("Which cylinder?", "Name its number.", repr(text[:80]))
        return (int(text),)
    if kind == MarkKind.HEARD:
        words = words_of(text)
        return tuple(number for number in (words.cylinder, words.neighbour) if number is not None)
    if kind == MarkKind.ROCKED:
        return (rocked_of(text)[0],)
    return ()


def _place(word: str) -> Place | None:
    return Place(word) if word in list(Place) else OTHER_WORDS.get(word)


def _number(digits: str | None) -> int | None:
    return int(digits) if digits else None
