"""How far apart a few readings lie, robustly, and which of them stands out. Pure statistics, no engine in it."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist, median

import numpy as np

from daq.records import Floats

TWO_SIDED = 1.959963984540054
"""Half-width of a 95 % interval of the normal distribution, in standard uncertainties."""
LEAST = 3
"""Fewer readings have no spread that one of them could stand out of."""
_QN = 2.21914
"""Makes Qn estimate the standard deviation of a normal distribution. Ref: Rousseeuw and Croux (1993)."""
_SMALL = (0.399356, 0.99365, 0.51321, 0.84401, 0.61220, 0.85877, 0.66993, 0.87344, 0.72014, 0.88906, 0.75743)
"""The same for n = 2 to 12; from n = 13 on a formula. Ref: Croux and Rousseeuw (1992), values from memory, found again
by simulation to 0.1 %."""

CRITICAL: dict[float, tuple[float, ...]] = {
    0.05: (14.78, 4.50, 5.58, 3.75, 4.14, 3.51, 3.68, 3.42, 3.51, 3.36, 3.44, 3.33, 3.40, 3.33),
    0.01: (75.8, 10.43, 12.77, 6.57, 7.16, 5.37, 5.58, 4.84, 4.94, 4.55, 4.62, 4.38, 4.44, 4.29),
}
"""For n = 3 to 16: the greatest distance from the median, in Qn, that n readings of one normal distribution exceed
with this risk. Simulated here with a million draws for each n (to 0.5 % at a risk of 5 %, 2 % at 1 %)."""


def qn(values: Sequence[float]) -> float:
    """The k-th smallest of all differences, scaled to a standard deviation; half of the values may be anything.

    At least two values. Ref: Rousseeuw and Croux, JASA 88 (1993) 1273, k = C(h, 2), h = n // 2 + 1.
    """
    n = len(values)
    h = n // 2 + 1
    sample, (one, other), place = np.asarray(values), np.triu_indices(n, 1), h * (h - 1) // 2 - 1
    differences = np.abs(sample[one] - sample[other])
    return _correction(n) * _QN * float(np.partition(differences, place)[place])


def _correction(n: int) -> float:
    """Ref: Croux and Rousseeuw (1992) to n = 12; above, the formula that goes with it in public statistics packages."""
    if n <= len(_SMALL) + 1:
        return _SMALL[n - 2]
    series = 1.60188 + (-2.1284 - 5.172 / n) / n if n % 2 else 3.67561 + (1.9654 + (6.987 - 77 / n) / n) / n
    return 1 / (1 + series / n)


def critical(n: int, risk: float) -> float:
    """Distance from the median, in Qn; `risk` is one of `CRITICAL`, n from 3 to 16."""
    return CRITICAL[risk][n - LEAST]


def u_from_median(values: Sequence[float], covariance: Floats) -> list[float]:
    """Standard uncertainty of each value less the median, with all that their errors share.

    The median is the middle value or the mean of the two middle ones: linear in them. Ref: JCGM 100, 5.2.2.
    """
    n = len(values)
    order = sorted(range(n), key=values.__getitem__)
    weights = np.eye(n)
    for place in {order[(n - 1) // 2], order[n // 2]}:
        weights[:, place] -= 1.0 if n % 2 else 0.5
    variances = np.einsum("ij,jk,ik->i", weights, covariance, weights)
    found: list[float] = np.sqrt(np.maximum(variances, 0.0)).tolist()
    return found


def outliers(values: Sequence[float], covariance: Floats, risk: float, matters: float = 0.0) -> tuple[int, ...]:
    """+1 or -1 for values that stand out above or below the rest, else 0; never anything for fewer than three.

    A distance from the median of no more than `matters` never does.

    Two things must hold: the distance from the median is more than the spread of the values explains, and more than
    their uncertainty explains. Each test alone names a value of a sound set with no more than `risk` for the whole set
    (the second by Bonferroni), so both together do as well.
    """
    n = len(values)
    if n < LEAST:
        return (0,) * n
    middle, far = median(values), critical(n, risk) * qn(values)
    doubt = NormalDist().inv_cdf(1 - 0.5 * risk / n)
    signs = []
    for value, u in zip(values, u_from_median(values, covariance), strict=True):
        distance = value - middle
        stands_out = abs(distance) > max(far, doubt * u, matters)
        signs.append((1 if distance > 0 else -1) if stands_out else 0)
    return tuple(signs)
