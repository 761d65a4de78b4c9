"""The live face: the loss in large digits, and in large words what is so and what is wanted now."""

from __future__ import annotations

from daq.sinks.face import Face, shown_pressure, state, visible_loss_pct, wanted
from daq.units import PressureUnit

__all__ = ["Face", "face_lines", "large", "shown_pressure", "state", "visible_loss_pct", "wanted"]

NARROW = 44

# Each digit is three rows of three columns, drawn from half blocks.
_DIGITS = {
    "0": ("█▀█", "█ █", "▀▀▀"),
    "1": ("▀█ ", " █ ", "▀▀▀"),
    "2": ("▀▀█", "█▀▀", "▀▀▀"),
    "3": ("▀▀█", " ▀█", "▀▀▀"),
    "4": ("█ █", "▀▀█", "  ▀"),
    "5": ("█▀▀", "▀▀█", "▀▀▀"),
    "6": ("█▀▀", "█▀█", "▀▀▀"),
    "7": ("▀▀█", "  █", "  ▀"),
    "8": ("█▀█", "█▀█", "▀▀▀"),
    "9": ("█▀█", "▀▀█", "▀▀▀"),
    "-": ("   ", "▀▀▀", "   "),
    ".": (" ", " ", "▀"),
    "%": ("▀ █", "▄▀ ", "▀ ▀"),
    " ": ("   ", "   ", "   "),
}


def face_lines(face: Face, unit: PressureUnit, width: int) -> list[str]:
    """Five or more lines of at most `width` columns, without colour: words carry the meaning."""
    loss_pct = visible_loss_pct(face)
    digits = large("  -.- %" if loss_pct is None else f"{loss_pct:5.1f} %")
    cylinder = f"CYLINDER {face.cylinder}" if face.cylinder else "NO CYLINDER"
    words = [
        f"{cylinder:<14}{state(face)}",
        f"SUPPLY    {shown_pressure(face.supply_gauge_pa, unit):>10}  {'HELD' if face.held else 'NOT HELD'}",
        f"CYLINDER  {shown_pressure(face.cylinder_gauge_pa, unit):>10}",
    ]
    if width < NARROW + 10:
        body = [f" {line}" for line in [*digits, *words]]
    else:
        body = [f" {left}    {right}" for left, right in zip(digits, words, strict=True)]
    title = f" {face.bench} | {face.engine}" if face.engine else f" {face.bench}"
    return [line[:width].rstrip() for line in (title, *body, f" >> {wanted(face)}")]


def large(text: str) -> list[str]:
    """The text in three rows of block digits."""
    return [" ".join(_DIGITS[char][row] for char in text) for row in range(3)]
