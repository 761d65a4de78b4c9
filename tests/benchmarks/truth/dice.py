"""The random choices of one bench."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from tests.benchmarks.truth.ranges import JUDGING, TUNING, Range

Choice = TypeVar("Choice")
POPULATIONS = {"judging": (0, JUDGING), "tuning": (1, TUNING)}
"""First word of every seed, so that no bench of one population can be one of the other, and the ranges."""


class Dice:
    """The same population, seed and number give the same choices."""

    def __init__(self, population: str, seed: int, number: int) -> None:
        word, self.ranges = POPULATIONS[population]
        self.rng = np.random.default_rng([word, seed, number])

    def between(self, bounds: Range) -> float:
        return float(self.rng.uniform(*bounds))

    def log(self, bounds: Range) -> float:
        """Uniform in the logarithm."""
        return float(np.exp(self.rng.uniform(*np.log(bounds))))

    def whole(self, bounds: tuple[int, int]) -> int:
        return int(self.rng.integers(bounds[0], bounds[1] + 1))

    def one_of(self, *choices: Choice) -> Choice:
        return choices[int(self.rng.integers(len(choices)))]

    def chance(self, probability: float) -> bool:
        return bool(self.rng.random() < probability)
