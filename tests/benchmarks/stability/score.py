"""What a test of steadiness would have told on all benches, and how soon and how often falsely."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from daq.measure.stability import EPISODE_GAP_S
from tests.benchmarks.stability.approaches import Clean
from tests.benchmarks.stability.rows import Bools, Rows


@dataclass(frozen=True)
class Score:
    """False: told while the true loss was not within 0.1 point of its end. Waits count from the oracle, s; infinite
    for a hold without a reading."""

    told: int
    false: int
    median_s: float
    late_s: float
    never: int

    @property
    def false_of_1000(self) -> float:
        return 1000 * self.false / self.told if self.told else math.nan


def score(given: Sequence[Clean], stable: Callable[[Clean, float], Bools], limit: float) -> Score:
    """`late_s`: nine of ten holds waited no longer."""
    told_rows = [(each.rows, told(each, stable(each, limit))) for each in given]
    settled = [bool(rows.settled[row]) for rows, places in told_rows for row in places]
    waits_s = np.array([wait_s for rows, places in told_rows for wait_s in _waits_s(rows, places)])
    late_s = float(np.quantile(waits_s, 0.9, method="inverted_cdf"))
    median_s = float(np.quantile(waits_s, 0.5, method="inverted_cdf"))
    return Score(len(settled), settled.count(False), median_s, late_s, int(np.isinf(waits_s).sum()))


def told(given: Clean, stable: Bools) -> list[int]:
    """The first row of each stable episode; a tap ends one."""
    t_s, places, last_s = given.rows.pressures.t_s, [], -math.inf
    for row in np.flatnonzero(stable).tolist():
        if last_s < max(t_s[row] - EPISODE_GAP_S, given.since_s[row]):
            places.append(row)
        last_s = t_s[row]
    return places


def _waits_s(rows: Rows, places: Sequence[int]) -> Iterator[float]:
    """Of the holds after a fill and after taps, where the oracle settles in them."""
    times_s = rows.time_s[list(places)].tolist()
    for hold, settled_s in zip(rows.holds, rows.settled_s, strict=True):
        if hold.kind != "other" and math.isfinite(settled_s):
            first_s = next((time_s for time_s in times_s if hold.from_s <= time_s <= hold.to_s), math.inf)
            yield first_s - hold.from_s - settled_s
