"""Pieces of SVG that stand by themselves, in a page, in a PDF and as a picture: no style sheet, no script, one font.

All numbers are in units of the drawing. Ref: SVG 1.1.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from daq.report.engine.document import Mark

INK, SOFT, FAINT, PAPER = "#1d1c1a", "#5d5a54", "#d9d4c8", "#ffffff"
COOL, WARM = "#1d5a63", "#a4551e"
COLOURS = {Mark.SOUND: "#22694a", Mark.WATCH: "#8a6100", Mark.INVESTIGATE: "#9b2d1f", Mark.UNCLEAR: "#55524c"}
FONT = "Liberation Sans, Helvetica, Arial, DejaVu Sans, sans-serif"


def svg(width: float, height: float, words: str, parts: Iterable[str]) -> str:
    """A whole drawing; `words` say what it shows to who cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-label="{escape(words)}" font-family="{FONT}" font-size="11">\n' + "\n".join(parts) + "\n</svg>"
    )


def text(
    x: float,
    y: float,
    words: str,
    anchor: str = "start",
    fill: str = INK,
    size: float = 11,
    bold: bool = False,
    upright: bool = False,
) -> str:
    """`upright`: read from below, about its own place."""
    more = ' font-weight="bold"' if bold else ""
    more += f' transform="rotate(-90 {x:.1f} {y:.1f})"' if upright else ""
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {place} fill="{fill}" font-size="{size:g}"{more}>{escape(words)}</text>'


def line(x1: float, y1: float, x2: float, y2: float, stroke: str = FAINT, width: float = 1, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    ends = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
    return f'<line {ends} stroke="{stroke}" stroke-width="{width:g}"{dashed}/>'


def rect(x: float, y: float, width: float, height: float, fill: str) -> str:
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}" height="{height:.1f}" fill="{fill}"/>'


def path(places: Sequence[tuple[float, float]], stroke: str, width: float = 1.4, dashes: str = "") -> str:
    """A line through these places, in their order."""
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    drawn = f'fill="none" stroke="{stroke}" stroke-width="{width:g}" stroke-linejoin="round"{dashed}'
    return f'<polyline points="{points}" {drawn}/>'


def circle(x: float, y: float, radius: float, fill: str, stroke: str = INK) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{fill}" stroke="{stroke}" stroke-width="1.5"/>'


def diamond(x: float, y: float, radius: float, fill: str, stroke: str) -> str:
    corners = f"{x:.1f},{y - radius:.1f} {x + radius:.1f},{y:.1f} {x:.1f},{y + radius:.1f} {x - radius:.1f},{y:.1f}"
    return f'<polygon points="{corners}" fill="{fill}" stroke="{stroke}" stroke-width="1.5"/>'


def tap(x: float, y: float) -> str:
    """A small hammer blow: a wedge that points down."""
    return f'<polygon points="{x - 4:.1f},{y - 7:.1f} {x + 4:.1f},{y - 7:.1f} {x:.1f},{y:.1f}" fill="{WARM}"/>'


def mark(which: Mark, x: float, y: float, r: float = 5.0) -> str:
    """Disc, half disc, triangle, hollow diamond: they differ in shape, not in colour alone."""
    colour = COLOURS[which]
    if which is Mark.SOUND:
        return circle(x, y, r, colour, colour)
    if which is Mark.WATCH:
        half = f'<path d="M{x:.1f} {y - r:.1f} A{r:g} {r:g} 0 0 1 {x:.1f} {y + r:.1f} Z" fill="{colour}"/>'
        return circle(x, y, r, PAPER, colour) + half
    if which is Mark.INVESTIGATE:
        corners = f"{x:.1f},{y - 1.15 * r:.1f} {x + 1.15 * r:.1f},{y + r:.1f} {x - 1.15 * r:.1f},{y + r:.1f}"
        return f'<polygon points="{corners}" fill="{colour}"/>'
    return diamond(x, y, r + 0.5, PAPER, colour)


def seal(which: Mark, size: float) -> str:
    """The mark as a drawing of its own, to stand beside words."""
    half = size / 2
    return svg(size, size, which.value, [mark(which, half, half, size * 0.36)])


def scale(width: float = 720, height: float = 12) -> str:
    """The graduated line below the head of a page, as on the limb of a gauge."""
    parts = [line(0, 0.6, width, 0.6, INK, 1.2)]
    steps = int(width // 6)
    for n in range(steps + 1):
        long = height if n % 10 == 0 else height * 0.62 if n % 5 == 0 else height * 0.36
        parts.append(line(n * width / steps, 0, n * width / steps, long, INK, 0.8))
    drawn = svg(width, height, "", parts)
    return drawn.replace('role="img" aria-label=""', 'aria-hidden="true" preserveAspectRatio="none"')
