"""One picture of a run, as SVG of our own making: errors, their intervals, times and taps."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from tests.benchmarks.truth.findings import NO_AIR, BenchFinding, ReadingFinding
from tests.benchmarks.truth.summary import DEEP_PSI

WIDTH, HEIGHT, MARGIN = 460.0, 300.0, 52.0
BLUE, ORANGE, RED, GREY = "#2166ac", "#e08214", "#b2182b", "#999999"
MOST_SECONDS = 12.0
BINS, BIN = 40, 0.1
"""Of the histogram, in half-widths of the stated interval: from -2 to 2."""


@dataclass(frozen=True)
class Panel:
    """A pair of axes; `log` says that x is logarithmic. Points outside are drawn at the edge."""

    title: str
    x_label: str
    y_label: str
    x: tuple[float, float]
    y: tuple[float, float]
    left: float
    top: float
    log: bool = False

    def at(self, x: float, y: float) -> tuple[float, float]:
        scale: Callable[[float], float] = math.log10 if self.log else float
        low, high = scale(self.x[0]), scale(self.x[1])
        part_x = (scale(max(x, self.x[0])) - low) / (high - low)
        part_y = (y - self.y[0]) / (self.y[1] - self.y[0])
        across, up = (min(max(part, 0.0), 1.0) for part in (part_x, part_y))
        return self.left + across * (WIDTH - MARGIN), self.top + (1 - up) * (HEIGHT - MARGIN)

    def frame(self) -> Iterator[str]:
        wide, high = WIDTH - MARGIN, HEIGHT - MARGIN
        yield f'<rect x="{self.left}" y="{self.top}" width="{wide}" height="{high}" fill="none" stroke="#333"/>'
        yield _text(self.left + wide / 2, self.top - 10, self.title, "bold")
        yield _text(self.left + wide / 2, self.top + high + 34, self.x_label)
        turned = f'transform="rotate(-90 {self.left - 36} {self.top + high / 2})"'
        yield _text(self.left - 36, self.top + high / 2, self.y_label, more=turned)
        for value in _marks(self.x, self.log):
            across, _ = self.at(value, self.y[0])
            yield _text(across, self.top + high + 15, f"{value:g}")
        for value in _marks(self.y, False):
            _, down = self.at(self.x[0], value)
            yield _text(self.left - 16, down + 4, f"{value:g}")

    def dots(self, points: Sequence[tuple[float, float]], colour: str, radius: float = 1.6) -> Iterator[str]:
        for x, y in points:
            across, down = self.at(x, y)
            yield f'<circle cx="{across:.1f}" cy="{down:.1f}" r="{radius}" fill="{colour}" fill-opacity="0.6"/>'

    def line(self, begin: tuple[float, float], end: tuple[float, float], colour: str = GREY) -> str:
        (x1, y1), (x2, y2) = self.at(*begin), self.at(*end)
        return (
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-dasharray="4 3"/>'
        )


def picture(found: Sequence[BenchFinding], title: str) -> str:
    """The whole picture as text."""
    wide, high = 2 * WIDTH + MARGIN, 2 * HEIGHT + 90
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {high:.0f}" font-family="sans-serif">',
        f'<rect width="{wide:.0f}" height="{high:.0f}" fill="white"/>',
        _text(wide / 2, 20, title, "bold"),
        *_errors(found, MARGIN, 60),
        *_intervals(found, WIDTH + 1.6 * MARGIN, 60),
        *_times(found, MARGIN, HEIGHT + 100),
        *_taps(found, WIDTH + 1.6 * MARGIN, HEIGHT + 100),
        "</svg>\n",
    ]
    return "\n".join(parts)


def _errors(found: Sequence[BenchFinding], left: float, top: float) -> Iterator[str]:
    panel = Panel(
        "Error of stable readings (blue: paired)", "true loss, %", "points", (0.4, 70), (-2, 2), left, top, log=True
    )
    yield from panel.frame()
    yield panel.line((0.4, 0), (70, 0))
    for name, colour in (("data sheet", ORANGE), ("paired", BLUE)):
        yield from panel.dots([(each.end_pct, each.error_pct) for each in _readings(found, name)], colour)


def _intervals(found: Sequence[BenchFinding], left: float, top: float) -> Iterator[str]:
    """Histogram of error over stated half-width; the interval holds the truth between the lines."""
    heights = {name: _histogram(_readings(found, name)) for name in ("data sheet", "paired")}
    tallest = 1.05 * max(max(each) for each in heights.values())
    panel = Panel(
        "Error over the stated 95 % half-width", "1 is the edge of the interval", "%", (-2, 2), (0, tallest), left, top
    )
    yield from panel.frame()
    yield from (panel.line((edge, 0), (edge, tallest)) for edge in (-1, 1))
    for name, colour in (("data sheet", ORANGE), ("paired", BLUE)):
        steps = [(-2 + BIN * (place + 0.5), height) for place, height in enumerate(heights[name])]
        course = " ".join(f"{x:.1f},{y:.1f}" for x, y in (panel.at(*step) for step in steps))
        yield f'<polyline points="{course}" fill="none" stroke="{colour}" stroke-width="2"/>'


def _histogram(readings: Sequence[ReadingFinding]) -> list[float]:
    """Percent in each bin; what is outside counts in the outermost."""
    counts = [0] * BINS
    for reading in readings:
        counts[min(max(int((reading.error_pct / reading.half_width_pct + 2) / BIN), 0), BINS - 1)] += 1
    return [100 * count / max(len(readings), 1) for count in counts]


def _times(found: Sequence[BenchFinding], left: float, top: float) -> Iterator[str]:
    """Points at the upper edge are holds without a reading, those at the right edge never settled."""
    both = (0.0, MOST_SECONDS)
    panel = Panel("Time to stable (orange: after taps)", "oracle, s", "instrument, s", both, both, left, top)
    yield from panel.frame()
    yield panel.line((0, 0), (MOST_SECONDS, MOST_SECONDS))
    for kind, colour in (("tap", ORANGE), ("fill", BLUE)):
        each_of = [each for bench in found for each in bench.settlings if each.kind == kind]
        yield from panel.dots([(each.oracle_s, min(each.reading_s, 99.0)) for each in each_of], colour)


def _taps(found: Sequence[BenchFinding], left: float, top: float) -> Iterator[str]:
    panel = Panel("Change by taps", "true, points", "told, points", (-6, 6), (-6, 6), left, top)
    taps = [tap for bench in found for tap in bench.taps if tap.depth_psi >= DEEP_PSI]
    missed = sum(not tap.found for tap in taps)
    yield from panel.frame()
    yield panel.line((-6, -6), (6, 6))
    changes = [change for bench in found for change in bench.changes]
    told = [(each.true_pct, each.told_pct) for each in changes if not math.isnan(each.told_pct)]
    yield from panel.dots(told, BLUE)
    yield from panel.dots([(each.true_pct, 0.0) for each in changes if math.isnan(each.told_pct)], RED)
    yield _text(*panel.at(-0.5, -5.2), f"{missed} of {len(taps)} taps missed; red: nothing told")


def _readings(found: Sequence[BenchFinding], name: str) -> list[ReadingFinding]:
    return [reading for bench in found for reading in bench.readings.get(name, ()) if reading.place != NO_AIR]


def _marks(ends: tuple[float, float], log: bool) -> list[float]:
    if log:
        return [value for value in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if ends[0] <= value <= ends[1]]
    step = next(step for step in (0.5, 1, 2, 5, 10, 20, 50) if (ends[1] - ends[0]) / step <= 8)
    first = math.ceil(ends[0] / step)
    return [step * place for place in range(first, math.floor(ends[1] / step) + 1)]


def _text(x: float, y: float, text: str, weight: str = "normal", more: str = "") -> str:
    place = f'x="{x:.1f}" y="{y:.1f}"'
    return f'<text {place} text-anchor="middle" font-size="12" font-weight="{weight}" {more}>{escape(text)}</text>'
