"""Cumulative sums: small shifts that last, found in values that come one after the other. Ref: Page 1954."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from daq.records import Bools, Floats

SLACK = 0.5
"""Half of the shift that is looked for, in standard deviations."""
ALARM = 5.0
"""Then a good series raises an alarm each 465 values, and one that is off by one standard deviation after 10.4."""


class Told(NamedTuple):
    """For each series: whether its mean has moved up, and down."""

    up: Bools
    down: Bools

    @property
    def any(self) -> Bools:
        return np.asarray(self.up | self.down)


class Cusum:
    """Both sides of many series at once. Values are standardised: mean 0, standard deviation 1 while all is well."""

    def __init__(self, series: int, slack: float = SLACK, alarm: float = ALARM) -> None:
        self._slack, self._alarm = slack, alarm
        self._above, self._below = np.zeros(series), np.zeros(series)

    def feed(self, values: Floats) -> Told:
        """One value of each series. A series that raised an alarm begins anew."""
        self._above = np.maximum(0.0, self._above + values - self._slack)
        self._below = np.maximum(0.0, self._below - values - self._slack)
        told = Told(self._above > self._alarm, self._below > self._alarm)
        self._above, self._below = (np.where(told.any, 0.0, side) for side in (self._above, self._below))
        return told


class DriftWatch:
    """Series whose mean nobody knows, of scatter `sd`: each value is held against the mean of those before it, which
    makes independent standard normal values as long as the mean stands still. Ref: Hawkins 1987, self-starting."""

    def __init__(self, sd: Floats) -> None:
        self._sd, self._cusum = sd, Cusum(len(sd))
        self._count, self._mean = np.zeros(len(sd)), np.zeros(len(sd))

    def feed(self, values: Floats) -> Told:
        """One value of each series. The first tells nothing; after an alarm the next one is the first again."""
        n = self._count
        told = self._cusum.feed(np.where(n > 0, (values - self._mean) / self._sd * np.sqrt(n / (n + 1)), 0.0))
        self._mean = self._mean + (values - self._mean) / (n + 1)
        self._count = np.where(told.any, 0.0, n + 1)
        return told
