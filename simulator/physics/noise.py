"""Random numbers in a fixed order: the same seed gives the same run, whatever the size of its steps."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp, sqrt

import numpy as np

_BLOCK = 4096


def normals(seed: int, stream: int) -> Iterator[float]:
    """Independent standard normal numbers without end; `stream` tells the users of one seed apart."""
    generator = np.random.default_rng([seed, stream])
    while True:
        yield from generator.standard_normal(_BLOCK).tolist()


class Wander:
    """A first-order (Ornstein-Uhlenbeck) wander about zero: standard deviation `rms`, correlation time `time_s`."""

    def __init__(self, rms: float, time_s: float, source: Iterator[float]) -> None:
        self.rms, self.time_s, self._source = rms, time_s, source
        self.value = 0.0

    def step(self, dt_s: float) -> float:
        """The value `dt_s` later; the law of the wander does not depend on how time is cut."""
        if self.rms > 0.0:
            keep = exp(-dt_s / self.time_s)
            self.value = keep * self.value + self.rms * sqrt(1.0 - keep * keep) * next(self._source)
        return self.value
