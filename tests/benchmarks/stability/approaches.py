"""Three tests of steadiness on the same rows, each with one limit: below it a row is stable.

All see both pressures after the same filter of outliers, only while the supply is held and the cylinder is under air,
and nothing from before the end of a tap.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from daq.measure import stability, uncertainty
from daq.measure.air import ON_ABOVE
from daq.measure.creep import CreepMonitor
from daq.measure.trailing import Trailing, windows
from tests.benchmarks.stability.ratio import COMMON, FAST, ratio
from tests.benchmarks.stability.rows import Bools, Floats, Rows

LONGEST = max(stability.WINDOW_ROWS)
SLOPE_ROWS = (15, 25, 40)
HAMPEL_ROWS = 15


@dataclass(frozen=True)
class Clean:
    """`joined` as `stability.best_fit` takes it, its first `LONGEST` - 1 columns empty; for each row whether it may be
    stable, the end of the last tap, and the longest time constant of what may still settle."""

    rows: Rows
    joined: Floats
    candidate: Bools
    since_s: Floats
    creep_s: Floats


def clean(rows: Rows) -> Clean:
    pressures, set_point_pa = rows.pressures, rows.instrument.set_point_pa
    raw = Trailing(2, HAMPEL_ROWS).feed(pressures.supply_gauge_pa, pressures.cylinder_gauge_pa)
    (supply, cylinder), outlier = stability.hampel(raw, HAMPEL_ROWS, max(1e-3 * set_point_pa, 2 * rows.resolution_pa))
    outliers = outlier.any(axis=0)
    level = cylinder / supply * set_point_pa
    joined = Trailing(5, LONGEST).feed(pressures.t_s, supply, cylinder, level, outliers.astype(float))
    ends_s = np.array([-np.inf, *(tap.t_s for tap in rows.taps)])
    since_s = ends_s[np.searchsorted(ends_s, pressures.t_s, side="right") - 1]
    candidate = rows.held & ~outliers & (pressures.cylinder_gauge_pa > ON_ABOVE * set_point_pa)
    return Clean(rows, joined, candidate, since_s, CreepMonitor(rows.instrument).feed(pressures))


def by_remainder(given: Clean, limit: float) -> Bools:
    """What the instrument does; `limit` is the part of the set point that may be left."""
    rows, scale = given.rows, limit / stability.LEFT
    ends = np.arange(len(given.candidate)) + LONGEST - 1
    floor_pa, allowed_pa = rows.resolution_pa / 12**0.5, scale * rows.instrument.set_point_pa
    fit = stability.best_fit(given.joined, ends, given.since_s, given.creep_s, floor_pa, allowed_pa)
    return given.candidate & (fit.excess <= 1.0)


def by_slope(given: Clean, limit: float) -> Bools:
    """Slope equivalence: |slope| + t se of both pressures, parts of the set point a second, in any of three windows."""
    rows = given.rows
    stable = np.zeros(len(given.candidate), np.bool_)
    ends = np.arange(len(stable)) + LONGEST - 1
    for length in SLOPE_ROWS:
        window = windows(given.joined, ends, length)
        slope, error, _, _ = stability.line_fit(window[0], window[1:3], rows.resolution_pa / 12**0.5)
        steepest = (np.abs(slope) + uncertainty.student_t(0.975, length - 2) * error).max(axis=0)
        whole = (window[4].sum(axis=-1) <= 2) & (window[0, :, 0] >= given.since_s)
        stable |= whole & (steepest <= limit * rows.instrument.set_point_pa)
    return given.candidate & stable


def by_ratio(factors: tuple[float, float, float]) -> Callable[[Clean, float], Bools]:
    """Ratio of variances of both pressures, the larger of the two; the filters begin anew after a tap."""

    def stable(given: Clean, limit: float) -> Bools:
        rows = given.rows
        found = np.full(len(given.candidate), np.inf)
        begins = [0, *np.flatnonzero(given.since_s[1:] != given.since_s[:-1]) + 1, len(found)]
        for begin, end in pairwise(begins):
            both = given.joined[1:3, LONGEST - 1 :][:, begin:end]
            pairs = [ratio(values, factors, rows.resolution_pa) for values in both]
            found[begin + 1 : end] = np.maximum(*np.array(pairs))
        warm = rows.pressures.t_s - given.since_s > WARM_UP_S
        result: Bools = given.candidate & warm & (found <= limit)
        return result

    return stable


WARM_UP_S = 0.5
"""As long as the shortest window of the others."""
APPROACHES: dict[str, tuple[Callable[[Clean, float], Bools], tuple[float, ...]]] = {
    "what is left": (by_remainder, (0.001, 0.0013, 0.0015, 0.0018, 0.002, 0.0025, 0.003)),
    "slope": (by_slope, (0.0005, 0.0007, 0.001, 0.0015, 0.002, 0.003)),
    "ratio 0.2 0.1 0.1": (by_ratio(COMMON), (0.7, 1.0, 1.5, 2.0, 3.0, 5.0)),
    "ratio 0.3 0.3 0.3": (by_ratio(FAST), (0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0)),
}
