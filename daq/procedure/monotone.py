"""Does a series rise, and how fast: Mann-Kendall's test and Sen's slope. Pure statistics.

Neither asks for a straight line or a normal distribution, and a few wild values change little. Ref: EPA QA/G-9S
(EPA/240/B-06/003), p. 109; Gilbert (1987), 16.4 and 17.3; Sen, JASA 63 (1968) 1379.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist, median

import numpy as np

from daq.records import Floats

EXACT_TO = 33
"""Up to so many values the distribution of S is counted out; beyond, the normal one is as good."""


@dataclass(frozen=True, slots=True)
class MannKendall:
    """`s`: pairs that rise less pairs that fall. `z` with the correction for continuity, `p` two-sided; `exact` where
    it comes from counting all orders, ties of the values included."""

    n: int
    s: int
    variance: float
    z: float
    p: float
    exact: bool


@dataclass(frozen=True, slots=True)
class SenSlope:
    """Median of the slopes of all pairs; the line goes through the medians of both. `low` and `high` are None where so
    few values have no interval of this confidence."""

    slope: float
    low: float | None
    high: float | None
    middle_x: float
    middle_y: float

    def at(self, x: float) -> float:
        return self.middle_y + self.slope * (x - self.middle_x)


def mann_kendall(x: Sequence[float], y: Sequence[float]) -> MannKendall:
    """Over pairs of different `x`. Exact for at most `EXACT_TO` values at different `x`, else by the normal
    distribution with the variance for ties."""
    n, s = len(x), round(float(_signs(x, y).sum()))
    variance = _variance(x, y)
    z = (s - np.sign(s)) / math.sqrt(variance) if variance > 0 else 0.0
    exact = n <= EXACT_TO and len(set(x)) == n
    p = _exact_p(s, _ties(y)) if exact else 2 * NormalDist().cdf(-abs(z))
    return MannKendall(n, s, variance, float(z), p, exact)


def sen_slope(x: Sequence[float], y: Sequence[float], confidence: float = 0.95) -> SenSlope | None:
    """None where all `x` are equal. The interval leaves out as many of the ordered slopes at either end as S, for a
    series without a trend, would with the chance that is left. Ref: Sen (1968); Gilbert (1987), 16.5.
    """
    xs, ys = np.asarray(x, np.float64), np.asarray(y, np.float64)
    first, second = np.triu_indices(len(xs), 1)
    apart = xs[second] - xs[first]
    slopes = np.sort((ys[second] - ys[first])[apart != 0] / apart[apart != 0])
    if not len(slopes):
        return None
    low, high = _ends(slopes, x, y, 1 - confidence)
    return SenSlope(float(np.median(slopes)), low, high, median(x), median(y))


def _signs(x: Sequence[float], y: Sequence[float]) -> Floats:
    """+1 for each pair that rises with x, -1 for each that falls."""
    xs, ys = np.asarray(x, np.float64), np.asarray(y, np.float64)
    first, second = np.triu_indices(len(xs), 1)
    signs: Floats = np.sign(xs[second] - xs[first]) * np.sign(ys[second] - ys[first])
    return signs


def _ties(values: Sequence[float]) -> tuple[int, ...]:
    """Sizes of the groups of equal values, ones included."""
    return tuple(sorted(Counter(values).values()))


def _variance(x: Sequence[float], y: Sequence[float]) -> float:
    """Of S without a trend, with ties in both. Ref: Kendall, Rank Correlation Methods, 4.9 (value from memory)."""
    n, of_x, of_y = len(x), _ties(x), _ties(y)

    def whole(t: int) -> int:
        return t * (t - 1) * (2 * t + 5)

    first = (whole(n) - sum(map(whole, of_x)) - sum(map(whole, of_y))) / 18
    threes = sum(t * (t - 1) * (t - 2) for t in of_x) * sum(t * (t - 1) * (t - 2) for t in of_y)
    twos = sum(t * (t - 1) for t in of_x) * sum(t * (t - 1) for t in of_y)
    second = threes / (9 * n * (n - 1) * (n - 2)) if n > 2 else 0.0
    return first + second + (twos / (2 * n * (n - 1)) if n > 1 else 0.0)


# ---- counting out ----------------------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def _orders(ties: tuple[int, ...]) -> tuple[int, ...]:
    """How many orders of values with these ties have 0, 1, 2, ... falling pairs.

    The Gaussian multinomial coefficient: a product of (1 - q^a) / (1 - q^b), multiplied out in whole numbers.
    Ref: MacMahon (1915); Knuth, TAOCP 5.1.2.
    """
    n = sum(ties)
    degree = (n * n - sum(t * t for t in ties)) // 2
    counts = [1] + [0] * degree
    placed = 0
    for size in ties:
        for j in range(1, size + 1):
            placed += 1
            for k in range(degree, placed - 1, -1):
                counts[k] -= counts[k - placed]
            for k in range(j, degree + 1):
                counts[k] += counts[k - j]
    return tuple(counts)


def _exact_p(s: int, ties: tuple[int, ...]) -> float:
    """The chance of |S| of at least `s` where all orders are equally likely."""
    counts = _orders(ties)
    pairs = len(counts) - 1
    as_far = sum(count for falls, count in enumerate(counts) if abs(pairs - 2 * falls) >= abs(s))
    return as_far / sum(counts)


def _ends(slopes: Floats, x: Sequence[float], y: Sequence[float], risk: float) -> tuple[float | None, float | None]:
    n, pairs = len(x), len(slopes)
    if n <= EXACT_TO and pairs == n * (n - 1) // 2:
        left_out = _left_out_exactly(n, risk)
        last = pairs - 1 - left_out
    else:
        reach = NormalDist().inv_cdf(1 - risk / 2) * math.sqrt(_variance(x, y))
        left_out = round((pairs - reach) / 2) - 1 if reach < pairs else -1
        last = min(round((pairs + reach) / 2), pairs - 1)
    return (float(slopes[left_out]), float(slopes[last])) if left_out >= 0 else (None, None)


def _left_out_exactly(n: int, risk: float) -> int:
    """The most slopes that may be left out at either end; -1 where even the outermost ones are not enough.

    k slopes below the true one, without ties, are as likely as k falling pairs.
    """
    counts = _orders((1,) * n)
    allowed, below = sum(counts) * risk / 2, 0
    for left_out, count in enumerate(counts):
        below += count
        if below > allowed:
            return left_out - 1
    return -1
