"""What holds for every crank that can turn round, and for every order of firing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.procedure.crank_geometry import CrankGeometry
from daq.procedure.crank_turns import crank_steps, turn_deg
from daq.procedure.engine import CYCLE_DEG, EngineProfile


@st.composite
def cranks(draw: st.DrawFn) -> CrankGeometry:
    stroke = draw(st.floats(0.02, 2.0))
    rod = stroke * draw(st.floats(0.51, 3.0))
    return CrankGeometry(draw(st.floats(0.02, 1.0)), stroke, rod, draw(st.floats(1e-6, 1e-2)))


@st.composite
def profiles(draw: st.DrawFn) -> EngineProfile:
    order = tuple(draw(st.permutations(range(1, draw(st.integers(1, 16)) + 1))))
    strokes = draw(st.sampled_from((2, 4)))
    weights = np.array(draw(st.lists(st.integers(1, 50), min_size=len(order), max_size=len(order))))
    intervals = tuple((CYCLE_DEG[strokes] * weights / weights.sum()).tolist()) if draw(st.booleans()) else ()
    return EngineProfile(name="any", firing_order=order, strokes=strokes, intervals_deg=intervals)


@given(cranks(), st.floats(0.0, math.pi))
def test_both_ways_are_alike_and_the_piston_stays_in_its_stroke(crank: CrankGeometry, angle: float) -> None:
    assert crank.travel_m(-angle) == crank.travel_m(angle)
    assert crank.travel_per_rad(-angle) == -crank.travel_per_rad(angle)
    assert 0 <= crank.travel_m(angle) <= crank.stroke_m * (1 + 1e-12)


@given(cranks(), st.floats(1e4, 1e6), st.floats(1e-3, 1e3))
def test_at_the_tolerable_angle_the_torque_is_that_which_resists(crank: CrankGeometry, pa: float, nm: float) -> None:
    angle = crank.tolerable_rad(pa, nm)
    top = float(crank.torque_nm(pa, crank.longest_lever_rad))
    assert float(crank.torque_nm(pa, angle)) == pytest.approx(nm, rel=1e-6) if nm < top else angle == math.pi
    assert crank.tolerable_rad(2 * pa, nm) <= angle <= crank.tolerable_rad(pa, 2 * nm)


@given(profiles())
def test_the_steps_of_all_cylinders_make_one_cycle(profile: EngineProfile) -> None:
    steps = crank_steps(profile)
    assert sum(step.turn_deg for step in steps) == pytest.approx(profile.cycle_deg)
    assert [step.cylinder for step in steps] == list(profile.firing_order)
    for step in steps:
        assert turn_deg(profile, step.cylinder, step.following) % profile.cycle_deg == pytest.approx(
            step.turn_deg % profile.cycle_deg
        )
