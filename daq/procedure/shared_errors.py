"""The readings of one engine together: what their errors share, and the chance that all of them are below a limit.

A wrong zero of a sensor is wrong on every cylinder in the same way. The budgets of the readings say so line by line:
what is not of the window alone is one and the same error in all readings of one calibration, with the effect that each
budget states. So eight readings just below a limit are not eight independent chances.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from daq.measure.budget import WINDOW_ALONE
from daq.procedure.spread import TWO_SIDED
from daq.procedure.tap_effect import LEAST_U_PCT
from daq.records import Floats, StableReading

_POINTS = 4096
_CERTAIN = 8.0
"""So many standard uncertainties below a limit the chance to be above it is 1e-15."""
_NEGLIGIBLE = 1e-6
_PRIMES = np.array((2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59), np.float64)
_erfc = np.frompyfunc(math.erfc, 1, 1)


@dataclass(frozen=True, slots=True)
class Errors:
    """`own` has shape (readings,), standard uncertainties that no other reading shares; `shared` (readings, errors):
    what each independent error, at its standard uncertainty, does to each reading. Percent."""

    own: Floats
    shared: Floats

    @property
    def covariance(self) -> Floats:
        """Shape (readings, readings)."""
        both: Floats = np.diag(self.own**2) + np.einsum("ik,jk->ij", self.shared, self.shared)
        return both

    def with_shared(self, effect: Floats | float) -> Errors:
        """One more error that all readings share."""
        column = np.broadcast_to(np.asarray(effect, np.float64), self.own.shape)
        return Errors(self.own, np.column_stack((self.shared, column)))


def errors_of(readings: Sequence[StableReading], scale: Sequence[float] | None = None) -> Errors:
    """From the budgets. `scale`: for each reading, what its loss has been multiplied by since.

    A reading with few degrees of freedom has all its errors widened as `verdict.judge` does it. What a budget does not
    explain of the stated uncertainty is taken as the reading's own.
    """
    scale = scale or [1.0] * len(readings)
    factors = np.array([_widened(reading) * times for reading, times in zip(readings, scale, strict=True)])
    lines = [_lines(reading) for reading in readings]
    names = list(dict.fromkeys(name for of_one in lines for name in of_one))
    shared = np.array([[of_one.get(name, 0.0) for name in names] for of_one in lines], np.float64)
    shared = shared.reshape(len(readings), len(names)) * factors[:, None]
    stated = np.array([reading.u_loss_pct for reading in readings]) * factors
    own = np.sqrt(np.maximum(stated**2 - (shared**2).sum(axis=-1), LEAST_U_PCT**2))
    return Errors(own, shared)


def _lines(reading: StableReading) -> dict[tuple[str, str], float]:
    """Effect of each error that other readings of the same calibration have too."""
    return {
        (reading.calibration_id, line.component): line.contribution_pct
        for line in reading.budget
        if not line.component.endswith(WINDOW_ALONE)
    }


def _widened(reading: StableReading) -> float:
    """So that a normal 95 % interval is as wide as the stated one of few degrees of freedom."""
    wide = reading.expanded_u_loss_pct / (TWO_SIDED * reading.u_loss_pct) if reading.u_loss_pct > 0 else 1.0
    return max(wide, 1.0) if math.isfinite(wide) else 1.0


def all_below(values: Floats, errors: Errors, limit: float) -> float:
    """The chance that every true value is at or below `limit`. Ref: JCGM 106, 7, over several quantities at once.

    Given the shared errors the readings are independent, so the chance is the mean of a product over them. The mean is
    taken over a fixed lattice of points in the space of the shared errors, which gives the same figure each time,
    right to about 0.001.
    """
    factors = _principal(errors.shared)
    z = _normal_points(factors.shape[1])
    product = np.ones(len(z))
    for value, own, effects in zip(values.tolist(), errors.own.tolist(), factors, strict=True):
        margin = (limit - value - (z * effects).sum(axis=-1)) / own
        if margin.min() < _CERTAIN:
            product *= _normal_below(margin)
    return float(product.mean())


def all_above(values: Floats, errors: Errors, limit: float) -> float:
    """The chance that every true value is at or above `limit`."""
    return all_below(-values, errors, -limit)


def _principal(shared: Floats) -> Floats:
    """The same covariance from as few shared errors as possible, shape (readings, fewer).

    Their signs are chosen so that the order of the readings does not matter.
    """
    left, size, _ = np.linalg.svd(shared, full_matrices=False)
    kept = size > _NEGLIGIBLE
    factors: Floats = left[:, kept] * size[kept]
    largest = np.abs(factors).argmax(axis=0)
    turned: Floats = factors * np.sign(factors[largest, np.arange(factors.shape[1])])
    return turned


@lru_cache(maxsize=16)
def _normal_points(dimensions: int) -> Floats:
    """Shape (points, dimensions), standard normal, evenly spread. Ref: Richtmyer's lattice, as in Genz and Bretz."""
    if dimensions == 0:
        return np.zeros((1, 0))
    steps = np.concatenate(([1 / _POINTS], np.sqrt(_PRIMES[: dimensions - 1])))
    spread = np.mod((np.arange(_POINTS) + 0.5)[:, None] * steps, 1.0)
    inverse = NormalDist().inv_cdf
    return np.array([[inverse(p) for p in row] for row in spread.tolist()], np.float64)


def _normal_below(z: Floats) -> Floats:
    return 0.5 * np.asarray(_erfc(-z / math.sqrt(2)), np.float64)
