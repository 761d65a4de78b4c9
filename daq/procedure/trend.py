"""The history of one cylinder in a quantity that compares: is there a trend, a change, and when would a limit be met.

The quantity is the area ratio k or the leak's area, never a raw percentage from mixed restrictors. Readings of a cold
engine are left out where there are others.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from statistics import NormalDist, median

from daq.errors import DataError
from daq.measure import leakage
from daq.procedure import wording
from daq.procedure.monotone import MannKendall, SenSlope, mann_kendall, sen_slope
from daq.procedure.spread import TWO_SIDED, qn
from daq.records import Limit
from daq.units import MM2_PER_M2

LEAST = 5
"""At fewer places no order of the values is rare enough to be told from chance at 5 %, two-sided."""
RISK = 0.05
_OF_A_MEDIAN = math.sqrt(math.pi / 2)
"""Standard deviation of a median over that of a mean, normal distribution."""


class Axis(StrEnum):
    """What the history runs along. Always SI: seconds since 1970 (UTC), seconds of running, metres."""

    DATE = "date"
    HOURS = "hours"
    DISTANCE = "distance"


class Quantity(StrEnum):
    AREA_RATIO = "area-ratio"
    LEAK_AREA = "leak-area"


@dataclass(frozen=True, slots=True)
class Point:
    """One test of the cylinder: area ratio, or leak area in m2, with its standard uncertainty."""

    x: float
    value: float
    u: float
    cold: bool | None = None


class Direction(StrEnum):
    RISING = "rising"
    FALLING = "falling"
    NONE = "none"
    TOO_FEW = "too-few"


class Changed(StrEnum):
    FIRST = "first"
    HIGHER = "higher"
    LOWER = "lower"
    SAME = "same"


@dataclass(frozen=True, slots=True)
class Change:
    """Last reading less the one before. `probability` that the true change has this sign; NaN where there is none."""

    word: Changed
    change: float
    u_change: float
    probability: float


class Forecasted(StrEnum):
    TOLD = "told"
    OPEN_ENDED = "open-ended"
    NO_TREND = "no-trend"
    ALREADY = "already"
    TOO_FAR = "too-far"


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the limit is met, at least 95 % interval; None where it cannot be said, and `word` says why."""

    word: Forecasted
    at: float | None = None
    early: float | None = None
    late: float | None = None


@dataclass(frozen=True, slots=True)
class Trend:
    """`points` are those that were used, in the order of x. `sentences` say all of it in words."""

    axis: Axis
    quantity: Quantity
    points: tuple[Point, ...]
    left_out: int
    direction: Direction
    test: MannKendall
    slope: SenSlope | None
    change: Change
    forecast: Forecast | None
    sentences: tuple[str, ...]


def limit_area_ratio(limit: Limit, atmosphere_pa: float) -> float:
    """The area ratio that reads the limit where the limit is stated."""
    cylinder_pa = limit.set_point_pa * (1 - limit.loss_pct / 100)
    return float(leakage.area_ratio(limit.set_point_pa + atmosphere_pa, cylinder_pa + atmosphere_pa, atmosphere_pa))


def trend(points: Iterable[Point], axis: Axis, quantity: Quantity, limit: float | None = None) -> Trend:
    """`limit` in the unit of the values. Raises DataError without points, and for one without an uncertainty."""
    used, left_out = _comparable(list(points))
    x, y = [point.x for point in used], [point.value for point in used]
    test, slope = mann_kendall(x, y), sen_slope(x, y)
    direction = _direction(len(set(x)), test, slope)
    change = _change(used)
    forecast = None if limit is None else _forecast(used, slope, direction, limit)
    found = Trend(axis, quantity, used, left_out, direction, test, slope, change, forecast, ())
    return replace(found, sentences=tuple(_sentences(found)))


def _comparable(points: Sequence[Point]) -> tuple[tuple[Point, ...], int]:
    bad = [point for point in points if not (math.isfinite(point.value) and point.u >= 0)]
    if bad or not points:
        raise DataError(
            "A reading of the history has no value or no uncertainty." if bad else "There is no history yet.",
            "Leave it out." if bad else "Test the cylinder once.",
            f"{bad[0]}" if bad else "",
        )
    hot = [point for point in points if not point.cold]
    used = sorted(hot or points, key=lambda point: point.x)
    return tuple(used), len(points) - len(used)


def _direction(places: int, test: MannKendall, slope: SenSlope | None) -> Direction:
    """`places`: at how many different x there is a reading."""
    if places < LEAST or slope is None or slope.low is None or slope.high is None:
        return Direction.TOO_FEW
    if test.p > RISK or slope.low <= 0 <= slope.high:
        return Direction.NONE
    return Direction.RISING if slope.slope > 0 else Direction.FALLING


def _change(points: Sequence[Point]) -> Change:
    """Both uncertainties count in full: what two tests have in common would only make the difference surer."""
    if len(points) < 2:
        return Change(Changed.FIRST, math.nan, math.nan, math.nan)
    before, last = points[-2:]
    change, u = last.value - before.value, math.hypot(last.u, before.u)
    probability = NormalDist().cdf(abs(change) / u) if u > 0 else 1.0
    if abs(change) <= TWO_SIDED * u:
        return Change(Changed.SAME, change, u, probability)
    return Change(Changed.HIGHER if change > 0 else Changed.LOWER, change, u, probability)


# ---- when a limit is met ---------------------------------------------------------------------------------------


def _forecast(points: Sequence[Point], slope: SenSlope | None, direction: Direction, limit: float) -> Forecast:
    """Carried on no further than the record is long. The ends of the interval take both slope and level at the worst.

    A last reading that may be above the limit, or a line that is there at the last test, is no forecast.
    """
    last = points[-1]
    if last.value + TWO_SIDED * last.u >= limit:
        return Forecast(Forecasted.ALREADY)
    if direction is not Direction.RISING or slope is None or not slope.low or not slope.high:
        return Forecast(Forecasted.NO_TREND)
    doubt, longest = TWO_SIDED * _u_level(points, slope), 2 * last.x - points[0].x
    if slope.at(last.x) >= limit:
        return Forecast(Forecasted.ALREADY)
    to_go = limit - slope.middle_y
    at = slope.middle_x + to_go / slope.slope
    early = max(slope.middle_x + (to_go - doubt) / slope.high, last.x)
    late = slope.middle_x + (to_go + doubt) / slope.low
    if at > longest:
        return Forecast(Forecasted.TOO_FAR)
    if late > longest:
        return Forecast(Forecasted.OPEN_ENDED, at, early)
    return Forecast(Forecasted.TOLD, at, early, late)


def _u_level(points: Sequence[Point], slope: SenSlope) -> float:
    """Standard uncertainty of the middle of the line: all readings may be wrong alike, or scatter about it more."""
    residuals = [point.value - slope.at(point.x) for point in points]
    return max(median(point.u for point in points), _OF_A_MEDIAN * qn(residuals) / math.sqrt(len(points)))


# ---- in words --------------------------------------------------------------------------------------------------

_SCALE = {Quantity.AREA_RATIO: 1.0, Quantity.LEAK_AREA: MM2_PER_M2}
_PER = {Axis.DATE: 365.25 * 86_400.0, Axis.HOURS: 100 * 3600.0, Axis.DISTANCE: 1e7}
_AT = {Axis.HOURS: 3600.0, Axis.DISTANCE: 1e3}


def _sentences(found: Trend) -> Iterator[str]:
    if found.left_out:
        yield wording.LEFT_OUT.format(n=found.left_out)
    if all(point.cold for point in found.points):
        yield wording.ONLY_COLD
    yield _about_the_slope(found)
    yield wording.CHANGE[found.change.word.value].format(
        change=_signed(found.change.change, found.quantity),
        u95=_plain(TWO_SIDED * found.change.u_change, found.quantity),
        certainty="" if found.change.word is Changed.FIRST else wording.certainty(found.change.probability),
    )
    if found.forecast:
        places = {name: _where(getattr(found.forecast, name), found.axis) for name in ("at", "early", "late")}
        yield wording.FORECAST[found.forecast.word.value].format(**places)


def _about_the_slope(found: Trend) -> str:
    slope = found.slope
    rates = (slope.low, slope.slope, slope.high) if slope else (None, None, None)
    low, middle, high = (_signed(rate, found.quantity, _PER[found.axis]) for rate in rates)
    return wording.TREND[found.direction.value].format(
        n=found.test.n,
        chance=wording.chance(found.test.p),
        low=low,
        slope=middle,
        high=high,
        per=wording.PER[found.axis.value],
    )


def _signed(value: float | None, quantity: Quantity, times: float = 1.0) -> str:
    if value is None:
        return ""
    return wording.SIGNED[quantity.value].format(value=value * times * _SCALE[quantity])


def _plain(value: float, quantity: Quantity) -> str:
    return wording.PLAIN[quantity.value].format(value=value * _SCALE[quantity])


def _where(x: float | None, axis: Axis) -> str:
    if x is None:
        return ""
    if axis is Axis.DATE:
        return datetime.fromtimestamp(x, UTC).date().isoformat()
    return wording.AT[axis.value].format(x=x / _AT[axis])
