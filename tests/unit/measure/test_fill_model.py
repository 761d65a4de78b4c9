"""What the model of a fill must bear: any unknowns within its range, however unlikely, since filters wander there."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from daq.measure.fill_model import GAS, HEAT, LEAK, PRESSURE, RATE, SHUT, UNKNOWNS, WALL, FillModel
from daq.records import Instrument

INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, 689_476.0, 13_790.0)


@pytest.mark.parametrize("step_s", [0.04, 0.25])
def test_a_step_from_anywhere_ends_in_finite_numbers(step_s: float) -> None:
    """With arithmetic that raises on overflow: an hour of a test must not end in a volume that nobody has."""
    corners = product((0.05, 0.3, 1.5), (0.6, 1.7), (-4.0, 1.0, 6.0), (-5.0, 2.5), (-6.0, 5.0), (0.6, 1.7))
    x = np.zeros((3 * 2 * 3 * 2 * 2 * 2, UNKNOWNS))
    x[:, [PRESSURE, GAS, RATE, LEAK, HEAT, WALL]] = list(corners)
    x[:, SHUT] = 0.9
    with np.errstate(over="raise", invalid="raise", divide="raise"):
        after, read = FillModel(INSTRUMENT).after(x, 1.0, step_s)
    assert np.isfinite(after).all() and np.isfinite(read).all()
