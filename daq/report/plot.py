"""Small plots as SVG text of our own: points and lines on axes, readable in print and without colour."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

WIDTH, HEIGHT = 640, 250
LEFT, RIGHT, TOP, BOTTOM = 64, 18, 14, 44
TICKS = 5
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Series:
    """Points to be marked, or joined by a line; `fill`: full or hollow marks."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    joined: bool = False
    fill: bool = True


@dataclass(frozen=True, slots=True)
class Axis:
    """From `low` to `high` in steps that a person counts in."""

    low: float
    step: float
    count: int

    @property
    def high(self) -> float:
        return self.low + self.count * self.step

    @property
    def ticks(self) -> list[float]:
        return [self.low + n * self.step for n in range(self.count + 1)]

    def label(self, value: float) -> str:
        decimals = max(0, -math.floor(math.log10(self.step) + 1e-9) + (1 if _is_quarter(self.step) else 0))
        return f"{value:.{decimals}f}".replace("-0" if float(f"{value:.{decimals}f}") == 0 else "\0", "0")


def _is_quarter(step: float) -> bool:
    return math.isclose(step / 10 ** math.floor(math.log10(step)), 2.5)


def axis(values: Sequence[float]) -> Axis:
    """Steps of 1, 2, 2.5 or 5 times a power of ten that hold all values, some five of them."""
    low, high = min(values), max(values)
    if high - low < 1e-12 * max(abs(low), abs(high), 1e-300):
        low, high = low - 1.0, high + 1.0
    power = 10 ** math.floor(math.log10((high - low) / TICKS))
    step = next(each * power for each in _STEPS if each * power >= (high - low) / TICKS * (1 - 1e-9))
    first = math.floor(low / step + 1e-9)
    return Axis(first * step, step, max(1, math.ceil(high / step - 1e-9) - first))


def plot(series: Sequence[Series], x_title: str, y_title: str) -> str:
    """One `<svg>`; the zero line is drawn where it lies inside. Sizes scale with the page."""
    across = axis([x for each in series for x in each.x])
    up = axis([0.0, *(y for each in series for y in each.y)])

    def at(x: float, y: float) -> tuple[float, float]:
        return (
            LEFT + (x - across.low) / (across.high - across.low) * (WIDTH - LEFT - RIGHT),
            HEIGHT - BOTTOM - (y - up.low) / (up.high - up.low) * (HEIGHT - TOP - BOTTOM),
        )

    parts = [f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(y_title)} over {escape(x_title)}">']
    for value in across.ticks:
        x, y = at(value, up.low)
        parts.append(_line(x, TOP, x, y, "grid") + _text(x, y + 15, across.label(value), "middle"))
    for value in up.ticks:
        x, y = at(across.low, value)
        parts.append(_line(x, y, WIDTH - RIGHT, y, "zero" if abs(value) < 1e-9 * up.step else "grid"))
        parts.append(_text(x - 6, y + 4, up.label(value), "end"))
    parts += [_drawn(each, [at(*xy) for xy in zip(each.x, each.y, strict=True)]) for each in series]
    parts.append(_text((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 10, x_title, "middle"))
    turn = f'transform="rotate(-90 14 {HEIGHT / 2:.0f})"'
    parts.append(f'<text x="14" y="{HEIGHT / 2:.0f}" text-anchor="middle" {turn}>{escape(y_title)}</text>')
    return "\n".join([*parts, "</svg>"]) + _legend(series)


def _drawn(series: Series, places: Sequence[tuple[float, float]]) -> str:
    if series.joined:
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
        return f'<polyline class="line" points="{points}"/>'
    style = "full" if series.fill else "hollow"
    return "".join(f'<circle class="{style}" cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>' for x, y in places)


def _legend(series: Sequence[Series]) -> str:
    named = [each for each in series if each.name]
    marks = {(False, True): "●", (False, False): "○", (True, True): "—", (True, False): "—"}
    words = "&emsp;".join(f"{marks[each.joined, each.fill]} {escape(each.name)}" for each in named)
    return f'<p class="legend">{words}</p>' if named else ""


def _line(x1: float, y1: float, x2: float, y2: float, style: str) -> str:
    return f'<line class="{style}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
