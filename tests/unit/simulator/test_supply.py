"""Compressor, regulator and the noise of the supply."""

from __future__ import annotations

from itertools import repeat

import numpy as np
import pytest

from simulator.physics.gas import R_AIR
from simulator.physics.noise import Wander, normals
from simulator.physics.supply import Compressor, CompressorLimits, Regulator, RegulatorTraits

PSI = 6894.757293168361
LIMITS = CompressorLimits(125 * PSI, 150 * PSI, 0.05, 3e-3, 0.5e-3, 0.3 * PSI, 12.0)
STILL = RegulatorTraits(0.0, 0.0, 1e-3, 0.0, 0.0)


def regulator(traits: RegulatorTraits = STILL) -> Regulator:
    return Regulator(100 * PSI, traits, 137.5 * PSI, Wander(0.0, 1.0, repeat(0.0)))


def test_tank_falls_until_the_compressor_starts_and_rises_until_it_stops() -> None:
    compressor = Compressor(LIMITS, 293.15)
    tank, running = [], []
    for _ in range(40_000):
        tank.append(compressor.step(0.01, 1e-3) / PSI)
        running.append(compressor.running)
    turns = np.flatnonzero(np.diff(running))
    assert len(turns) >= 4
    assert 124.6 < min(tank) < 125.0 < 150.0 < max(tank) < 150.4


def test_tank_pressure_follows_the_mass_taken() -> None:
    compressor = Compressor(LIMITS, 293.15)
    for _ in range(1000):
        compressor.step(0.01, 1e-3)
    assert 150 * PSI - compressor.gauge_pa == pytest.approx(R_AIR * 293.15 / 0.05 * 1.5e-3 * 10.0, rel=1e-9)


def test_ripples_only_while_it_runs() -> None:
    compressor = Compressor(LIMITS, 293.15)
    idle = np.diff([compressor.step(0.001, 0.0) for _ in range(100)])
    compressor.running = True
    busy = np.diff([compressor.step(0.001, 0.0) for _ in range(100)])
    assert np.ptp(idle) < 1e-6 * PSI < 0.01 * PSI < np.ptp(busy)


def test_regulator_droops_with_flow_after_a_hump() -> None:
    one = regulator(RegulatorTraits(0.6 * PSI / 1e-3, 0.5 * PSI, 0.3e-3, 0.0, 0.0))
    settled = [one.characteristic_pa(flow, 137.5 * PSI) / PSI for flow in (0.0, 0.3e-3, 1.0e-3)]
    assert settled == pytest.approx([100.0, 100.0 + 0.5 - 0.18, 100.0 + 0.5 / 0.3 * np.exp(1 - 1 / 0.3) - 0.6])


def test_regulator_passes_on_a_part_of_the_tank_pressure() -> None:
    one = regulator(RegulatorTraits(0.0, 0.0, 1e-3, 0.01, 0.0))
    assert one.characteristic_pa(0.0, 147.5 * PSI) / PSI == pytest.approx(100.1)


def test_regulator_recovers_with_its_time_constant_whatever_the_step() -> None:
    outlets = []
    for steps in (1, 30):
        one = regulator(RegulatorTraits(0.0, 0.0, 1e-3, 0.0, 0.15))
        one.droop_to_pa = 90 * PSI
        for _ in range(steps):
            one.step(0.15 / steps, 0.0, 137.5 * PSI)
        outlets.append(one.gauge_pa / PSI)
    assert outlets == pytest.approx([90 + 10 * np.exp(-1)] * 2)


def test_regulator_never_gives_more_than_the_tank_has() -> None:
    assert regulator().step(0.01, 0.0, 60 * PSI) == 60 * PSI


def test_wander_has_its_spread_and_its_memory() -> None:
    wander = Wander(2.0, 0.5, normals(3, 1))
    values = np.array([wander.step(0.1) for _ in range(100_000)])
    assert values.std() == pytest.approx(2.0, rel=0.03)
    assert np.corrcoef(values[:-5], values[5:])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.03)


def test_noise_is_the_same_for_the_same_seed_and_stream_only() -> None:
    first, again, other_seed, other_stream = normals(1, 1), normals(1, 1), normals(2, 1), normals(1, 2)
    values = [next(first) for _ in range(5000)]
    assert values == [next(again) for _ in range(5000)]
    assert values[:5] != [next(other_seed) for _ in range(5)]
    assert values[:5] != [next(other_stream) for _ in range(5)]
