"""The oracle sees the same bench, without noise; and truth and its inverse agree."""

from __future__ import annotations

import pytest

from simulator.build import bench_traits
from simulator.oracle import TrueState, true_course
from simulator.truth import leak_area_m2, loss_pct

PSI = 6894.757293168361
HELD = """
action = [
    { do = "connect", at_s = 0.2, cylinder = 1 },
    { do = "air", at_s = 0.5 },
    { do = "tap", at_s = 8.003, open_ms = 10, area_mm2 = 10, clears = 1.0 },
]
[bench]
wall_c = 60.0
"""


def at(course: list[TrueState], time_s: float) -> TrueState:
    return next(state for state in course if state.time_s == pytest.approx(time_s, abs=1e-9))


def test_it_ends_where_the_mass_balance_says(quiet) -> None:
    scenario = quiet(HELD)
    *_, end = true_course(scenario, until_s=16.0)
    expected = loss_pct(bench_traits(scenario), end.leak_area_m2, end.supply_gauge_pa)
    assert 100 * (1 - end.cylinder_gauge_pa / end.supply_gauge_pa) == pytest.approx(expected, abs=0.005)


def test_noise_of_the_air_does_not_reach_it(quiet) -> None:
    rough = HELD + "[regulator]\nnoise_psi = 0.5\n[compressor]\nripple_psi = 5.0\n"
    text = HELD + "[regulator]\nnoise_psi = 0.0\n[compressor]\nripple_psi = 0.0\n"
    first, second = (list(true_course(_regulated(quiet, each), until_s=2.0)) for each in (rough, text))
    assert first == second


def _regulated(quiet, tables: str):
    """The quiet scenario has these sections of its own already: take them from another parse."""
    from simulator.scenario import parse

    other = parse('title = "t"\nengine = { name = "x", order = [1] }\ncylinder = [{ number = 1 }]\n' + tables, "test")
    return quiet(HELD).model_copy(update={"regulator": other.regulator, "compressor": other.compressor})


def test_it_sees_the_bottom_of_a_tap_between_its_steps(quiet) -> None:
    course = list(true_course(quiet(HELD), until_s=9.0))
    bottom = at(course, 8.013)
    assert bottom.cylinder_gauge_pa == min(state.cylinder_gauge_pa for state in course if state.time_s > 6.0)
    assert at(course, 8.0).cylinder_gauge_pa - bottom.cylinder_gauge_pa > 10 * PSI


@pytest.mark.parametrize("loss", [0.5, 10.0, 60.0])
def test_area_and_loss_are_inverse(quiet, loss: float) -> None:
    traits = bench_traits(quiet(HELD))
    assert loss_pct(traits, leak_area_m2(traits, loss, 100 * PSI), 100 * PSI) == pytest.approx(loss, abs=1e-6)
