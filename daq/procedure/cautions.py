"""What has hurt people at this work, told at the moment it matters. Pure text, in one place.

Common practice, no source, but for what AC 43.13-1B, chapter 8, paragraph 8-14 says of the propeller and the crank.
"""

from __future__ import annotations

from typing import NamedTuple


class Caution(NamedTuple):
    """`name` stays, `text` may be translated."""

    name: str
    text: str


BEFORE_AIR = (
    Caution("crank", "Take bar, socket and wrench off the crank before any air: it turns with the force of a piston."),
    Caution("clear", "Keep hands, sleeves and people clear of fan, belts and propeller; nobody stands in its arc."),
    Caution("ignition", "Ignition and fuel are off, and cannot come on: key out, battery off, magnetos grounded."),
    Caution("eyes", "Protect your eyes: a plug hole, a hose or a fitting that lets go throws what is in it."),
    Caution("heat", "On a warm engine mind exhaust, coolant and plugs; never open a hot cooling system."),
    Caution("regulator", "The regulator stands at zero before the hose is connected; then raise it slowly."),
    Caution("limits", "Stay below the pressure limit of hose, fittings and sensors; the relief valve works."),
    Caution("rules", "The engine maker's instructions and local rules come first; where they differ, follow them."),
)
CERTIFIED = Caution(
    "certified",
    "A certified engine is tested and judged by licensed people only; this tool replaces nobody's signature.",
)


def before_air(certified: bool) -> tuple[Caution, ...]:
    """To be read and acknowledged before the first air of a test."""
    return (*BEFORE_AIR, CERTIFIED) if certified else BEFORE_AIR
