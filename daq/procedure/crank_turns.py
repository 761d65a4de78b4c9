"""Degrees of crank from the top dead centre of one cylinder to that of another, from the firing intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daq.procedure.engine import EngineProfile


@dataclass(frozen=True, slots=True)
class CrankStep:
    """`at_deg`: its firing top dead centre, degrees of crank after that of the first cylinder of the order.
    `turn_deg`: how far to turn on to `following`, the next of the order (the first again after the last)."""

    cylinder: int
    at_deg: float
    turn_deg: float
    following: int


def crank_steps(profile: EngineProfile) -> tuple[CrankStep, ...]:
    """In firing order, in the direction in which the engine runs."""
    order, turns = profile.firing_order, profile.firing_intervals_deg
    return tuple(
        CrankStep(cylinder, math.fsum(turns[:place]), turns[place], order[(place + 1) % len(order)])
        for place, cylinder in enumerate(order)
    )


def turn_deg(profile: EngineProfile, start: int, end: int) -> float:
    """How far to turn, in running direction, from the firing top dead centre of one cylinder to that of another."""
    at = {step.cylinder: step.at_deg for step in crank_steps(profile)}
    return (at[end] - at[start]) % profile.cycle_deg


def also_at_top(profile: EngineProfile, cylinder: int) -> tuple[int, ...]:
    """The cylinders whose pistons stand at the top as well, on the other stroke: there their valves are open.

    One of these and its partner are easily taken for each other; the one with open valves loses everything.
    """
    if profile.strokes == 2:
        return ()
    half = profile.cycle_deg / 2
    others = [other for other in profile.firing_order if other != cylinder]
    return tuple(other for other in others if math.isclose(turn_deg(profile, cylinder, other), half, abs_tol=1e-6))
