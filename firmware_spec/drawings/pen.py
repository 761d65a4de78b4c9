"""A pen for wiring diagrams: symbols at grid points, as SVG. Resistors are boxes, as IEC 60617 draws them."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

Point = tuple[float, float]
STYLE = (
    "svg{background:#fff}text{font:13px system-ui,sans-serif;fill:#111}.small{font-size:11px;fill:#333}"
    ".big{font-size:15px;font-weight:600}.w{fill:none;stroke:#111;stroke-width:1.6}.b{fill:#fff;stroke:#111;"
    "stroke-width:1.6}.air{fill:none;stroke:#1f5fa8;stroke-width:5}.dash{stroke-dasharray:5 4}.d{fill:#111}"
)


class Pen:
    """Draws on a sheet of a width and a height; `svg` is the whole document."""

    def __init__(self, width: int, height: int, title: str, words: str) -> None:
        self._head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
            f'aria-labelledby="t d"><title id="t">{escape(title)}</title><desc id="d">{escape(words)}</desc>'
            f"<style>{STYLE}</style>"
        )
        self._parts: list[str] = []

    def svg(self) -> str:
        return "\n".join([self._head, *self._parts, "</svg>", ""])

    def text(self, at: Point, words: str, kind: str = "", anchor: str = "start") -> None:
        self._parts.append(
            f'<text x="{at[0]:g}" y="{at[1]:g}" class="{kind}" text-anchor="{anchor}">{escape(words)}</text>'
        )

    def wire(self, *points: Point, kind: str = "w") -> None:
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._parts.append(f'<polyline class="{kind}" points="{path}"/>')

    def dot(self, *points: Point) -> None:
        """Where wires meet."""
        self._parts += [f'<circle class="d" cx="{x:g}" cy="{y:g}" r="3.2"/>' for x, y in points]

    def box(self, at: Point, size: Point, words: Sequence[str] = (), kind: str = "b") -> None:
        """`at` is its upper left corner; the words stand in its middle."""
        self._parts.append(
            f'<rect class="{kind}" x="{at[0]:g}" y="{at[1]:g}" width="{size[0]:g}" height="{size[1]:g}" rx="3"/>'
        )
        middle = at[0] + size[0] / 2
        top = at[1] + size[1] / 2 - 8 * (len(words) - 1) + 4
        for number, line in enumerate(words):
            self.text((middle, top + 16 * number), line, "" if number == 0 else "small", "middle")

    def resistor(self, start: Point, end: Point, label: str) -> None:
        """Along a line that is level or upright, in the middle of it."""
        (x0, y0), (x1, y1) = start, end
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        self.wire(start, end)
        if y0 == y1:
            self.box((x - 17, y - 6), (34, 12))
            self.text((x, y - 11), label, "small", "middle")
        else:
            self.box((x - 6, y - 17), (12, 34))
            self.text((x + 11, y + 4), label, "small")

    def capacitor(self, at: Point, label: str, length: float = 60) -> None:
        """From `at` down to ground."""
        x, y = at
        middle = y + length / 2
        self.wire(at, (x, middle - 4))
        self.wire((x - 12, middle - 4), (x + 12, middle - 4))
        self.wire((x - 12, middle + 4), (x + 12, middle + 4))
        self.wire((x, middle + 4), (x, y + length))
        self.text((x + 16, middle + 4), label, "small")
        self.ground((x, y + length))

    def diode(self, at: Point, to: Point) -> None:
        """Upright, conducting from `at` to `to`."""
        x, middle = at[0], (at[1] + to[1]) / 2
        tip = middle - 6 if to[1] < at[1] else middle + 6
        foot = 2 * middle - tip
        self.wire(at, to)
        self._parts.append(f'<path class="b" d="M{x - 7:g},{foot:g} L{x + 7:g},{foot:g} L{x:g},{tip:g} Z"/>')
        self.wire((x - 7, tip), (x + 7, tip))

    def ground(self, at: Point) -> None:
        x, y = at
        for half, drop in ((10, 0), (6, 4), (2, 8)):
            self.wire((x - half, y + drop), (x + half, y + drop))

    def power(self, at: Point) -> None:
        """The 5 V node, named at the end of a wire that goes up."""
        x, y = at
        self.wire((x, y), (x, y - 10))
        self.wire((x - 7, y - 10), (x + 7, y - 10))
        self.text((x, y - 14), "5 V", "small", "middle")
