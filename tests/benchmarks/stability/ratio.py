"""The ratio of two estimates of a variance, a published test of steady state, for comparison.

One estimate is about a filtered mean, the other from successive differences; on a steady signal of independent noise
their ratio R is about 1, on one that moves it is larger. Ref: Cao & Rhinehart, J. Process Control 5(6), 363-374 (1995);
the form is that of Rhinehart, American Control Conference 2013.
"""

from __future__ import annotations

import math

from tests.benchmarks.stability.rows import Floats

COMMON = (0.2, 0.1, 0.1)
"""Filter factors of value, variance and squared difference that are most in use."""
FAST = (0.3, 0.3, 0.3)
"""Forgets a fill in 2 s of ticks where the common factors take 8."""


def ratio(values: Floats, factors: tuple[float, float, float] = COMMON, least: float = 0.0) -> list[float]:
    """R after each value but the first, from which the filters begin.

    A signal that does not move from value to value has no ratio: then it is 0, if it did not move before either, by
    more than `least`.
    """
    mean_part, variance_part, difference_part = factors
    filtered = before = float(values[0])
    variance = difference = 0.0
    found = []
    for value in values[1:].tolist():
        variance = variance_part * (value - filtered) ** 2 + (1 - variance_part) * variance
        filtered = mean_part * value + (1 - mean_part) * filtered
        difference = difference_part * (value - before) ** 2 + (1 - difference_part) * difference
        before = value
        if difference > 0.0:
            found.append((2 - mean_part) * variance / difference)
        else:
            found.append(0.0 if variance <= least * least else math.inf)
    return found
