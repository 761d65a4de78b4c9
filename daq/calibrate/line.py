"""Straight lines, and low polynomials, through points, with the covariance of their coefficients."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.errors import DataError
from daq.records import Floats


@dataclass(frozen=True, slots=True)
class Fit:
    """`coefficients` of rising powers, shape (k,); `covariance` (k, k); `residuals` y - fit, shape (n,).

    `residual_sd` has n - k degrees of freedom; it is NaN where there are none.
    """

    coefficients: Floats
    covariance: Floats
    residuals: Floats
    residual_sd: float
    degrees_of_freedom: int

    def u(self, index: int) -> float:
        """Standard uncertainty of a coefficient."""
        return math.sqrt(float(self.covariance[index, index]))

    @property
    def correlation(self) -> float:
        """Of the first two coefficients; 0 where one of them has no uncertainty."""
        product = self.u(0) * self.u(1)
        return float(self.covariance[0, 1]) / product if product > 0 else 0.0


def fit(x: Floats, y: Floats, degree: int = 1, u: float | Floats | None = None) -> Fit:
    """Least squares. With `u`, the standard uncertainties of y, weighted by them and the covariance is theirs
    (Ref: ISO 28037); without, the scatter about the curve gives it. DataError for fewer points than coefficients."""
    k = degree + 1
    if np.unique(x).size < k:
        raise DataError(
            f"{np.unique(x).size} different points cannot tell {k} parameters.",
            "Take more points, spread over the whole range.",
        )
    scale = float(np.abs(x).max())
    weight = np.ones_like(y) if u is None else 1.0 / np.broadcast_to(u, y.shape)
    design = np.vander(x / scale, k, increasing=True)
    q, r = np.linalg.qr(design * weight[:, None])
    inverse = np.linalg.inv(r)
    unscale = scale ** -np.arange(k, dtype=np.float64)
    coefficients = inverse @ (q.T @ (y * weight)) * unscale
    residuals = y - np.vander(x, k, increasing=True) @ coefficients
    spare = len(y) - k
    variance = float((residuals**2).sum()) / spare if spare else math.nan
    covariance = inverse @ inverse.T * np.outer(unscale, unscale) * (variance if u is None else 1.0)
    return Fit(coefficients, covariance, residuals, math.sqrt(variance), spare)


def fit_correlated(x: Floats, y: Floats, covariance: Floats) -> tuple[Fit, Floats, Floats]:
    """A straight line through points whose errors hang together: `covariance`, shape (n, n), up to a factor.

    Besides the fit, whose `residual_sd` is the root of that factor as the points show it: how far each point is off the
    line of the others, and the standard deviation of that for a factor of 1. Ref: ISO 28037, generalised least squares.
    """
    scale = float(np.abs(x).max())
    design, unscale = np.vander(x / scale, 2, increasing=True), np.array([1.0, 1.0 / scale])
    weight = np.linalg.inv(covariance)
    inverse = np.asarray(np.linalg.inv(design.T @ weight @ design), np.float64)
    from_points = inverse @ design.T @ weight
    residual_weight = weight - weight @ design @ from_points
    pull, alone = residual_weight @ y, np.diag(residual_weight)
    spare = len(y) - 2
    sd = math.sqrt(max(float(y @ pull), 0.0) / spare) if spare else math.nan
    residuals = y - design @ (from_points @ y)
    found = Fit(from_points @ y * unscale, inverse * np.outer(unscale, unscale), residuals, sd, spare)
    return found, pull / alone, 1 / np.sqrt(alone)


def leverage(x: Floats) -> Floats:
    """How much each point pulls a straight line to itself, 0 to 1; a deleted residual is `residual / (1 - it)`."""
    apart = x - x.mean()
    pull: Floats = 1 / len(x) + apart**2 / (apart**2).sum()
    return pull


def terminal(x: tuple[float, float], y: tuple[float, float], u_x: float, u_y: tuple[float, float]) -> Fit:
    """The line through both end points (terminal-based), by propagation of their independent uncertainties.

    `covariance` is that of intercept and slope. Ref: JCGM 100, 5.1.2 and F.1.2.3.
    """
    (x0, x1), (y0, y1) = x, y
    run = x1 - x0
    slope = (y1 - y0) / run
    # d(intercept, slope) / d(y0, y1, x0, x1)
    jacobian = np.array([[x1, -x0, -slope * x1, slope * x0], [-1.0, 1.0, slope, -slope]]) / run
    variances = np.array([u_y[0] ** 2, u_y[1] ** 2, u_x**2, u_x**2])
    covariance = (jacobian * variances) @ jacobian.T
    return Fit(np.array([y0 - slope * x0, slope]), covariance, np.zeros(2), math.nan, 0)
