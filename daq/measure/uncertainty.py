"""Standard uncertainties and how they combine (k = 1 throughout). Ref: JCGM 100, 4.3 and 5.2.2."""

from __future__ import annotations

import math
from functools import lru_cache


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity that lies within +- `half_width`, anywhere with equal chance."""
    return half_width / math.sqrt(3)


def combined(contributions: tuple[float, ...], correlation: float = 0.0) -> float:
    """Root of the sum of squares of `sensitivity * u`; `correlation` is that of the first two contributions."""
    variance = math.fsum(c * c for c in contributions)
    if correlation:
        variance += 2 * correlation * contributions[0] * contributions[1]
    return math.sqrt(max(variance, 0.0))


def loss_sensitivities(supply_gauge_pa: float, cylinder_gauge_pa: float) -> tuple[float, float]:
    """d loss / d p1 and d loss / d p2, percent for each Pa."""
    return 100 * cylinder_gauge_pa / supply_gauge_pa**2, -100 / supply_gauge_pa


def u_loss_pct(
    supply_gauge_pa: float, cylinder_gauge_pa: float, u_supply_pa: float, u_cylinder_pa: float, correlation: float = 0.0
) -> float:
    """Standard uncertainty of the loss from those of the two pressures, percent."""
    c1, c2 = loss_sensitivities(supply_gauge_pa, cylinder_gauge_pa)
    return combined((c1 * u_supply_pa, c2 * u_cylinder_pa), correlation)


@lru_cache(maxsize=256)
def student_t(probability: float, degrees: int) -> float:
    """Quantile of Student's t, 0.5 <= probability < 1: bisection of the exact series for whole degrees of freedom."""
    low, high = 0.0, 1.0
    while _inner_probability(high, degrees) < 2 * probability - 1:
        low, high = high, 2 * high
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = _inner_probability(middle, degrees) < 2 * probability - 1
        low, high = (middle, high) if below else (low, middle)
    return high


def _inner_probability(t: float, degrees: int) -> float:
    """P(|T| <= t). Ref: Abramowitz and Stegun, 26.7.3 (odd) and 26.7.4 (even degrees of freedom)."""
    theta = math.atan(t / math.sqrt(degrees))
    cosine2, odd = math.cos(theta) ** 2, degrees % 2
    term = total = (math.cos(theta) if odd else 1.0) if degrees > 1 else 0.0
    for i in range(2 + odd, degrees - 1, 2):
        term *= cosine2 * (i - 1) / i
        total += term
    return 2 / math.pi * (theta + math.sin(theta) * total) if odd else math.sin(theta) * total
