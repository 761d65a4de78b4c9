"""The chart of all cylinders against the limits: intervals as found and after taps, in the order of their numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from daq.report.engine import wording as words
from daq.report.engine.document import Chart, Mark
from daq.report.engine.drawing import (
    COLOURS,
    COOL,
    INK,
    PAPER,
    SOFT,
    circle,
    diamond,
    line,
    mark,
    rect,
    svg,
    text,
)
from daq.report.plot import Axis, axis

BANDS = {Mark.SOUND: "#e9f2ec", Mark.WATCH: "#f8f0d6", Mark.INVESTIGATE: "#f6e4df"}
LEAST_SHOWN_PCT = 20.0
WIDE, NARROW = 720.0, 380.0
Interval = tuple[float, float]
"""A loss at the set point and the half-width of its 95 % interval, percent."""


@dataclass(frozen=True, slots=True)
class Row:
    """One cylinder; `mark` None: it was not tested."""

    cylinder: int
    mark: Mark | None
    as_found: Interval | None
    after_taps: Interval | None


@dataclass(frozen=True, slots=True)
class Bounds:
    """Sound up to the first, to be investigated from the second; percent at the set point."""

    sound_to: float
    investigate_from: float


@dataclass(frozen=True, slots=True)
class _Plane:
    """Where losses and rows lie on the drawing. Wide, the figures stand beside the rows; narrow, above them."""

    across: Axis
    left: float
    right: float
    top: float
    row: float
    rows: int
    wide: bool

    @property
    def bottom(self) -> float:
        return self.top + self.row * self.rows

    def x(self, loss: float) -> float:
        held = min(max(loss, self.across.low), self.across.high)
        return self.left + (held - self.across.low) / (self.across.high - self.across.low) * (self.right - self.left)

    def y(self, row: int) -> float:
        """The middle of a row's marks."""
        return self.top + self.row * (row + (0.5 if self.wide else 0.66))


def cylinders_chart(rows: Sequence[Row], bounds: Bounds) -> Chart:
    said = words.CHART_SAID.format(n=len(rows))
    across = _loss_axis(rows, bounds)
    wide = _Plane(across, 100, WIDE - 142, 34, 32, len(rows), True)
    narrow = _Plane(across, 46, NARROW - 12, 34, 48, len(rows), False)
    drawn = [
        svg(width, plane.bottom + 64, said, _parts(plane, rows, bounds))
        for width, plane in ((WIDE, wide), (NARROW, narrow))
    ]
    return Chart(drawn[0], said, drawn[1])


def _loss_axis(rows: Sequence[Row], bounds: Bounds) -> Axis:
    intervals = [each for row in rows for each in (row.as_found, row.after_taps) if each is not None]
    most = max([LEAST_SHOWN_PCT, 1.2 * bounds.investigate_from, *(loss + u for loss, u in intervals)])
    return axis([0.0, min(most, 100.0)])


def _parts(plane: _Plane, rows: Sequence[Row], bounds: Bounds) -> Iterator[str]:
    edges = (plane.across.low, bounds.sound_to, bounds.investigate_from, plane.across.high)
    for number, which in enumerate(BANDS):
        start, end = plane.x(edges[number]), plane.x(edges[number + 1])
        yield rect(start, plane.top, end - start, plane.bottom - plane.top, BANDS[which])
    for number in range(1, plane.rows):
        y = plane.top + plane.row * number
        yield line(plane.left, y, plane.right, y, PAPER, 2)
    yield from _scale(plane)
    yield from _limits(plane, bounds)
    for number, row in enumerate(rows):
        yield from _row(plane, row, plane.y(number))
    yield from _legend(plane)


def _scale(plane: _Plane) -> Iterator[str]:
    yield line(plane.left, plane.bottom, plane.right, plane.bottom, INK, 1.2)
    for loss in plane.across.ticks:
        yield line(plane.x(loss), plane.bottom, plane.x(loss), plane.bottom + 5, INK, 1)
        yield text(plane.x(loss), plane.bottom + 17, plane.across.label(loss), "middle", SOFT)
    yield text(plane.right, plane.bottom + 32, words.LOSS_AXIS, "end", SOFT)


def _limits(plane: _Plane, bounds: Bounds) -> Iterator[str]:
    """Dashed, with what they say; one line where both are the same."""
    if bounds.sound_to == bounds.investigate_from:
        named = [(bounds.sound_to, words.ONE_LIMIT, "middle")]
    else:
        named = [(bounds.sound_to, words.SOUND_TO, "end"), (bounds.investigate_from, words.INVESTIGATE_FROM, "start")]
    for loss, said, anchor in named:
        x = plane.x(loss)
        yield line(x, plane.top - 8, x, plane.bottom, INK, 1.2, "5 3")
        aside = {"end": 3.0, "start": -3.0, "middle": 0.0}[anchor]
        yield text(x + aside, plane.top - 13, said.format(loss=loss), anchor, INK)


def _row(plane: _Plane, row: Row, y: float) -> Iterator[str]:
    if plane.wide:
        yield text(plane.left - 26, y + 4, words.CYLINDER_N.format(n=row.cylinder), "end", INK, 12, bold=True)
    else:
        yield text(8, y + 5, str(row.cylinder), "start", INK, 14, bold=True)
    if row.mark is None or row.as_found is None:
        yield text(plane.left + 8, y + 4, words.NOT_TESTED, "start", SOFT)
        return
    yield mark(row.mark, plane.left - 14, y)
    apart = 5.0 if row.after_taps else 0.0
    yield from _interval(plane, row.as_found, y - apart, INK, after=False)
    if row.after_taps:
        yield from _interval(plane, row.after_taps, y + apart, COOL, after=True)
    x, up, anchor = (plane.right + 12, 4, "start") if plane.wide else (plane.right - 5, -14, "end")
    yield text(x, y + up, figures(row), anchor, COLOURS[row.mark], 12, bold=True)


def figures(row: Row) -> str:
    """`19.7 → 6.3 ±0.3 %`: as found, after taps, and the half-width of what counts."""
    assert row.as_found is not None
    loss, u = row.after_taps or row.as_found
    before = f"{row.as_found[0]:.1f} → " if row.after_taps else ""
    return f"{before}{loss:.1f} ±{u:.1f} %"


def _interval(plane: _Plane, interval: Interval, y: float, colour: str, after: bool) -> Iterator[str]:
    loss, u = interval
    low, high = plane.x(loss - u), plane.x(loss + u)
    yield line(low, y, high, y, colour, 1.6)
    for end in (low, high):
        yield line(end, y - 3.5, end, y + 3.5, colour, 1.6)
    yield diamond(plane.x(loss), y, 4.5, colour, colour) if after else circle(plane.x(loss), y, 3.6, PAPER, colour)


def _legend(plane: _Plane) -> Iterator[str]:
    y, x = plane.bottom + 52, plane.left if plane.wide else 8.0
    yield circle(x + 6, y - 4, 3.6, PAPER, INK)
    yield text(x + 16, y, words.AS_FOUND, "start", SOFT)
    yield diamond(x + 86, y - 4, 4.5, COOL, COOL)
    yield text(x + 97, y, words.AFTER_TAPS, "start", SOFT)
    yield text(x + 166, y, words.BARS, "start", SOFT)
