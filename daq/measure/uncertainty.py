"""How standard uncertainties combine, and how wide an interval must be. Ref: JCGM 100, clauses 4 to 6 and annex G.

Correlated inputs are first written as sums of independent errors (`independent`); from there on everything is a root
of a sum of squares, and each square can be told by name.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache

import numpy as np

from daq.records import Contribution, Floats

CONFIDENCE = 0.975
"""Quantile for the half-width of a two-sided 95 % interval."""
_NORMAL_ABOVE = 1e6
_PRECISE = 1e-15
_MOST_TERMS = 3000
_NEXT_TO_NOTHING = 1e-3
"""A part so small changes no interval."""


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity that lies within +- `half_width`, anywhere with equal chance. Ref: 4.3.7."""
    return half_width / math.sqrt(3)


def loss_sensitivities(supply_gauge_pa: float, cylinder_gauge_pa: float) -> tuple[float, float]:
    """d loss / d p1 and d loss / d p2, percent for each Pa."""
    return 100 * cylinder_gauge_pa / supply_gauge_pa**2, -100 / supply_gauge_pa


def independent(u: Sequence[float], correlation: Sequence[Sequence[float]]) -> Floats:
    """n correlated inputs as sums of n independent errors: shape (errors, inputs), one standard uncertainty each.

    The first error carries all of the first input. Correlations of exactly +-1 are welcome. Ref: Cholesky
    factorisation, JCGM 101, 6.4.8.4.
    """
    n = len(u)
    factor = np.zeros((n, n))
    for i in range(n):
        for j in range(i):
            rest = correlation[i][j] - float((factor[:j, i] * factor[:j, j]).sum())
            factor[j, i] = rest / factor[j, j] if factor[j, j] > 0 else 0.0
        factor[i, i] = math.sqrt(max(1.0 - float((factor[:i, i] ** 2).sum()), 0.0))
    errors: Floats = factor * np.asarray(u)
    return errors


def contributions(function: Callable[[Floats], Floats], inputs: Floats, errors: Floats) -> Floats:
    """What each independent error does to each output: shape (outputs, errors), with sign.

    `function` maps (inputs, points) to (outputs, points), `errors` has shape (errors, inputs). Half the difference of
    the function one error up and one error down. Ref: JCGM 100, 5.1.3 note 2.
    """
    steps = np.concatenate((errors, -errors)).T
    outputs = function(inputs[:, None] + steps)
    up, down = np.split(outputs, 2, axis=-1)
    return 0.5 * (up - down)


def effective_degrees(budget: Iterable[Contribution]) -> float:
    """Welch-Satterthwaite over the lines of a budget. Ref: JCGM 100, G.4.1.

    The formula wants independent estimates of variance, and lines that come from one fit are not: what stands before
    a colon in the name is the fit, and its lines count as one component with the degrees of freedom of that fit.
    """
    fits: dict[tuple[str, float], float] = {}
    for line in budget:
        fit = line.component.partition(":")[0], line.degrees_of_freedom
        fits[fit] = fits.get(fit, 0.0) + line.contribution_pct**2
    lost = math.fsum(variance**2 / degrees for (_, degrees), variance in fits.items())
    return math.fsum(fits.values()) ** 2 / lost if lost > 0 else math.inf


def coverage_factor(degrees: float, limited: Sequence[float] = ()) -> float:
    """What a standard uncertainty is multiplied by for a 95 % interval. Ref: JCGM 100, G.6.4 and G.2.3, note 2.

    `limited` are the parts of it that are known by limits alone, each over the whole, as standard uncertainties. The
    two greatest are taken as the rectangular distributions that they are, the rest as normal: one alone needs 1.65,
    two equal ones 1.90, and 1.96 would be too wide. Degrees of freedom widen it as they would a normal distribution.
    """
    t = student_t(CONFIDENCE, degrees)
    if not limited:
        return t
    first, second = (max(part, _NEXT_TO_NOTHING) for part in sorted((*limited, 0.0), reverse=True)[:2])
    return t / student_t(CONFIDENCE, math.inf) * _quantile(first, second)


def _quantile(first: float, second: float) -> float:
    """Of two rectangular distributions and a normal one, independent, together of standard deviation 1. Bisection."""
    rest = math.sqrt(max(1 - first * first - second * second, _NEXT_TO_NOTHING**2))
    low, high = 0.0, 3.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        below = _sum_probability(middle, math.sqrt(3) * first, math.sqrt(3) * second, rest) < CONFIDENCE
        low, high = (middle, high) if below else (low, middle)
    return 0.5 * (low + high)


def _sum_probability(x: float, a: float, b: float, sd: float) -> float:
    """P(sum <= x) for uniform within +-a, uniform within +-b, and normal: the normal one averaged over both."""
    corners = ((1, a + b), (-1, a - b), (-1, b - a), (1, -a - b))
    return math.fsum(sign * _twice_integrated(x + at, sd) for sign, at in corners) / (4 * a * b)


def _twice_integrated(x: float, sd: float) -> float:
    """Second integral of the normal distribution function, from minus infinity. Ref: by parts."""
    t = x / sd
    density, below = math.exp(-0.5 * t * t) / math.sqrt(2 * math.pi), 0.5 * math.erfc(-t / math.sqrt(2))
    return 0.5 * sd * sd * ((t * t + 1) * below + t * density)


@lru_cache(maxsize=256)
def student_t(probability: float, degrees: float) -> float:
    """Quantile of Student's t, 0.5 <= probability < 1, for any degrees of freedom of 1 and more, infinity included.

    Newton's method on P(|T| <= t): that curve bends down, so from zero it closes in from the left without overshoot.
    """
    wanted, t = 2 * probability - 1, 0.0
    log_peak = _log_density_peak(degrees)
    for _ in range(200):
        step = (wanted - _inner_probability(t, degrees)) / (2 * _density(t, degrees, log_peak))
        t += step
        if abs(step) <= 1e-13 * t:
            break
    return t


def _log_density_peak(degrees: float) -> float:
    if degrees > _NORMAL_ABOVE:
        return -0.5 * math.log(2 * math.pi)
    return math.lgamma(0.5 * degrees + 0.5) - math.lgamma(0.5 * degrees) - 0.5 * math.log(degrees * math.pi)


def _density(t: float, degrees: float, log_peak: float) -> float:
    if degrees > _NORMAL_ABOVE:
        return math.exp(log_peak - 0.5 * t * t)
    return math.exp(log_peak - 0.5 * (degrees + 1) * math.log1p(t * t / degrees))


def _inner_probability(t: float, degrees: float) -> float:
    """P(|T| <= t). Ref: Abramowitz and Stegun, 26.5.27; above a million degrees of freedom the normal one."""
    if degrees > _NORMAL_ABOVE:
        return math.erf(t / math.sqrt(2))
    square = t * t
    if 3 * square < degrees + 5:  # the side on which the continued fraction converges fast
        return _incomplete_beta(square / (degrees + square), 0.5, 0.5 * degrees)
    return 1 - _incomplete_beta(degrees / (degrees + square), 0.5 * degrees, 0.5)


def _incomplete_beta(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function by its continued fraction. Ref: Abramowitz and Stegun, 26.5.8.

    Evaluated forwards by the method of Lentz.
    """
    if x <= 0:
        return 0.0
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)) / a
    c, d, value = 1.0, 0.0, 1.0
    for j in range(1, _MOST_TERMS):
        m = j // 2
        top = -(a + m) * (a + b + m) if j % 2 else m * (b - m)
        term = top * x / ((a + j - 1) * (a + j))
        d, c = 1 / (1 + term * d), 1 + term / c
        value *= c * d
        if abs(c * d - 1) < _PRECISE:
            break
    return front / value
