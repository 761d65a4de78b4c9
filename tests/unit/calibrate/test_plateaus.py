from itertools import pairwise

import numpy as np
import pytest

from daq.calibrate.plateaus import Plateau, PlateauFinder
from daq.records import Floats

PSI = 6894.757293168361
TICK_S = 0.05


def course(*stops: tuple[float, float]) -> Floats:
    """Pressure in psi: (seconds, psi) held one after the other, with a turn of half a second between them."""
    held = [np.full(round(seconds / TICK_S), psi) for seconds, psi in stops]
    turns = [np.linspace(a[-1], b[0], 10) for a, b in pairwise(held)]
    return np.concatenate([part for pair in zip(held, [*turns, np.zeros(0)], strict=True) for part in pair])


def found(
    supply_psi: Floats, cylinder_psi: Floats | None = None, noise_psi: float = 0.02, splits: int = 1
) -> list[Plateau]:
    finder, rng = PlateauFinder(100 * PSI), np.random.default_rng(3)
    cylinder_psi = supply_psi if cylinder_psi is None else cylinder_psi
    both = np.array([supply_psi, cylinder_psi]) * PSI
    both = both + noise_psi * PSI * rng.standard_normal(both.shape)
    t_s = np.arange(len(supply_psi)) * TICK_S
    blocks = zip(*(np.array_split(each, splits) for each in (t_s, *both)), strict=True)
    return [plateau for block in blocks for plateau in finder.feed(*block)]


def test_each_pressure_is_a_plateau_once_however_long_it_is_held() -> None:
    supply = course((3, 20), (8, 60), (3, 100))
    plateaus = found(supply, 0.5 + 1.002 * supply)
    assert [p.supply_pa / PSI for p in plateaus] == pytest.approx([20, 60, 100], abs=0.03)
    assert [p.difference_pa / PSI for p in plateaus] == pytest.approx([0.54, 0.62, 0.70], abs=0.02)
    for plateau in plateaus:
        assert plateau.u_difference_pa / PSI == pytest.approx(0.02 * 2**0.5 / 30**0.5, rel=0.6)


def test_noise_that_wanders_makes_the_mean_less_sure() -> None:
    """A first-order autoregression of 0.7: the mean of n is as sure as that of n (1 - 0.7) / (1 + 0.7)."""
    rng, n = np.random.default_rng(11), 30
    ratios = []
    for _ in range(200):
        wander = np.zeros(n)
        for i in range(1, n):
            wander[i] = 0.7 * wander[i - 1] + 0.02 * PSI * rng.standard_normal()
        held = np.full(n, 60 * PSI)
        (plateau,) = PlateauFinder(100 * PSI).feed(np.arange(n) * TICK_S, held, held + wander)
        ratios.append(plateau.u_difference_pa / (np.std(wander, ddof=1) / n**0.5))
    assert 1.6 < float(np.median(ratios)) < 2.6


def test_any_split_finds_the_same() -> None:
    supply = course((3, 20), (3, 60), (3, 100), (3, 40))
    whole = found(supply)
    assert len(whole) == 4
    assert found(supply, splits=7) == whole == found(supply, splits=len(supply))


def test_a_pressure_that_creeps_is_no_plateau() -> None:
    assert found(np.linspace(20, 40, 400)) == []


def test_one_side_that_still_moves_is_no_plateau() -> None:
    supply = course((10, 80))
    assert found(supply, supply - np.linspace(10, 0, len(supply))) == []


def test_a_small_move_is_the_same_plateau() -> None:
    assert len(found(course((3, 60), (3, 64), (3, 60)))) == 1
    assert len(found(course((3, 60), (3, 70), (3, 60)))) == 3


def test_noise_makes_it_wait() -> None:
    assert found(course((4, 60)), noise_psi=1.0) == []


def test_rows_with_a_hole_are_no_plateau() -> None:
    finder, n = PlateauFinder(100 * PSI), 40
    t_s, held = np.arange(n) * 0.1, np.full(n, 60 * PSI)
    assert finder.feed(t_s, held, held) == [] and finder.state == "waiting"


def test_a_clock_that_begins_again_begins_a_window() -> None:
    finder, held = PlateauFinder(100 * PSI), np.full(25, 60 * PSI)
    t_s = np.arange(25) * TICK_S
    assert finder.feed(t_s + 100, held, held) == []
    assert finder.feed(t_s, held, held) == []
    assert len(finder.feed(t_s + 1.25, held, held)) == 1


@pytest.mark.parametrize(("psi_per_s", "told"), [(-1.0, True), (-0.1, False), (-20.0, False), (1.0, False)])
def test_an_even_slow_fall_is_told(psi_per_s: float, told: bool) -> None:
    t_s = np.arange(100) * TICK_S
    pressure = (120 + psi_per_s * t_s) * PSI
    finder = PlateauFinder(100 * PSI)
    finder.feed(t_s, pressure, pressure)
    assert finder.falling_pa_per_s == pytest.approx(-psi_per_s * PSI if told else 0.0, rel=1e-6)


def test_turning_down_by_hand_is_no_fall() -> None:
    finder, pressure = PlateauFinder(100 * PSI), course((2, 100), (1, 80), (1, 60), (0.5, 40)) * PSI
    for n, row in enumerate(pressure):
        finder.feed(np.array([n * TICK_S]), np.array([row]), np.array([row]))
        assert finder.falling_pa_per_s == 0.0


def test_it_says_what_it_waits_for() -> None:
    finder = PlateauFinder(100 * PSI)
    assert finder.state == "waiting"
    t_s = np.arange(30) * TICK_S
    finder.feed(t_s, t_s * PSI * 5, t_s * PSI * 5)
    assert finder.state == "moving"
    finder.feed(t_s + 1.5, np.full(30, 9 * PSI), np.full(30, 9 * PSI))
    assert finder.state == "at rest"
