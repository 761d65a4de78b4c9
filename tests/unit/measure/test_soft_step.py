"""The soft step: seen once, only at a low pressure that stands."""

from __future__ import annotations

import numpy as np
import pytest

from daq.measure.soft_step import STANDS_S, SoftStepMonitor
from daq.records import Floats, Instrument, Pressures, SoftStep

SET_PA = 690e3
INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, SET_PA, 14e3)
TICK_S = 0.05


def pressures(supply: Floats, cylinder: Floats) -> Pressures:
    t_s = TICK_S * np.arange(1, len(supply) + 1)
    return Pressures(1, t_s, supply * SET_PA, cylinder * SET_PA, cylinder * SET_PA, np.zeros(len(supply), np.int64))


def course(*parts: tuple[float, float, float]) -> Floats:
    """Straight pieces: from, to (of the set point), for seconds."""
    return np.concatenate([np.linspace(start, end, round(seconds / TICK_S)) for start, end, seconds in parts])


SOFT = ((0.0, 0.0, 1.0), (0.0, 0.2, 0.5), (0.2, 0.2, 3.0))


def steps(supply: Floats, cylinder: Floats | None = None) -> list[SoftStep]:
    return SoftStepMonitor(INSTRUMENT).feed(pressures(supply, 0.9 * supply if cylinder is None else cylinder))


def test_a_low_pressure_that_stands_is_one_soft_step() -> None:
    (step,) = steps(course(*SOFT, (0.2, 1.0, 1.0), (1.0, 1.0, 2.0)))
    assert 1.5 + STANDS_S < step.t_s < 1.5 + STANDS_S + 0.7
    assert step.cylinder_gauge_pa == pytest.approx(0.18 * SET_PA)


@pytest.mark.parametrize(
    "supply",
    [
        course((0.0, 0.0, 1.0), (0.0, 1.0, 0.5), (1.0, 1.0, 5.0)),
        course((0.0, 0.0, 1.0), (0.0, 0.2, 0.2), (0.2, 0.2, STANDS_S - 0.1), (0.2, 1.0, 0.5), (1.0, 1.0, 3.0)),
        course((0.0, 0.0, 1.0), (0.0, 1.0, 30.0)),
        course((0.55, 0.55, 5.0)),
        course((0.0, 0.0, 5.0)),
    ],
    ids=["at once", "too short", "never stands", "not low", "no air"],
)
def test_what_is_no_soft_step(supply: Floats) -> None:
    assert not steps(supply)


def test_a_cylinder_that_moves_is_no_soft_step() -> None:
    """As when the crank creeps round: the supply stands, the cylinder's pressure falls."""
    supply = course(*SOFT)
    falling = np.where(supply < 0.2, 0.9 * supply, np.linspace(0.19, 0.06, len(supply)))
    assert not steps(supply, falling)


def test_another_one_comes_after_the_line_was_vented_or_raised() -> None:
    again = (*SOFT, (0.2, 1.0, 1.0), (1.0, 1.0, 1.0), (1.0, 0.2, 0.5), (0.2, 0.2, 3.0))
    vented = (*SOFT, (0.2, 0.0, 0.2), (0.0, 0.0, 1.0), *SOFT)
    assert len(steps(course(*again))) == len(steps(course(*vented))) == 2


def test_the_split_does_not_matter() -> None:
    supply = course(*SOFT, (0.2, 1.0, 1.0))
    rows, monitor = pressures(supply, 0.9 * supply), SoftStepMonitor(INSTRUMENT)
    one_by_one = [
        step
        for row in range(len(supply))
        for step in monitor.feed(
            Pressures(
                1, rows.t_s[row : row + 1], rows.supply_gauge_pa[row : row + 1], rows.cylinder_gauge_pa[row : row + 1],
                rows.cylinder_low_gauge_pa[row : row + 1], rows.flags[row : row + 1],
            )
        )
    ]  # fmt: skip
    assert one_by_one == steps(supply)
