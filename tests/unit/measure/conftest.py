"""Signals for the stages: a cylinder filled through a restrictor, integrated here and apart from daq's own formulas."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from daq.records import Instrument, Pressures

PSI = 6894.757293168361
ATMOSPHERE = 101_325.0
STEP_S = 0.001
PER_TICK = 50
Course = Callable[[float], float]


def nozzle(area_m2: float, inlet: float, temperature: float, outlet: float) -> float:
    """Ideal nozzle, kg/s, in the textbook form with explicit exponents."""
    if outlet > inlet:
        return -nozzle(area_m2, outlet, temperature, inlet)
    ratio = max(outlet / inlet, 0.52828)
    shape = ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)
    return area_m2 * inlet * math.sqrt(2 * 1.4 / (0.4 * 287.05 * temperature) * max(shape, 0.0))


class Bench:
    """A restrictor of 0.040 in, a cylinder, a leak: pressures in psi on a 1 ms grid, then ticks with noise."""

    restrictor_m2 = 0.8 * math.pi / 4 * 0.001016**2

    def leak_m2(self, loss_pct: float, supply_psi: float = 100.0) -> float:
        """The leak that reads this loss: what the restrictor passes, over what each m2 of leak would."""
        supply = supply_psi * PSI + ATMOSPHERE
        cylinder = supply_psi * (1 - loss_pct / 100) * PSI + ATMOSPHERE
        return nozzle(self.restrictor_m2, supply, 293.15, cylinder) / nozzle(1.0, cylinder, 293.15, ATMOSPHERE)

    def run(
        self,
        seconds: float,
        leak_m2: Course,
        supply_psi: Course = lambda t: 100.0,
        start_psi: float = 0.0,
        volume_cc: float = 75.0,
        wall_w_k: float = 1.0,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Supply and cylinder, psi gauge: energy and mass balance with heat exchange to the wall, Euler at 1 ms."""
        volume, p = volume_cc * 1e-6, start_psi * PSI + ATMOSPHERE
        mass = p * volume / (287.05 * 293.15)
        supply = np.array([supply_psi(i * STEP_S) for i in range(round(seconds / STEP_S))])
        cylinder = np.empty_like(supply)
        for i, gauge_psi in enumerate(supply.tolist()):
            cylinder[i] = (p - ATMOSPHERE) / PSI
            gas_k = p * volume / (mass * 287.05)
            inflow = nozzle(self.restrictor_m2, gauge_psi * PSI + ATMOSPHERE, 293.15, p)
            outflow = nozzle(leak_m2(i * STEP_S), p, gas_k, ATMOSPHERE)
            heat = 1004.675 * (293.15 * inflow - gas_k * outflow) + wall_w_k * (293.15 - gas_k)
            p = max(p + 0.4 / volume * heat * STEP_S, ATMOSPHERE)
            mass += (inflow - outflow) * STEP_S
        return supply, cylinder

    def ticks(
        self,
        supply_psi: np.ndarray,
        cylinder_psi: np.ndarray,
        noise_psi: float = 0.02,
        count_psi: float = 0.0,
        seed: int = 1,
        segment: int = 0,
    ) -> Pressures:
        """Samples each 5 ms with white noise and a converter of this resolution, gathered to 50 ms."""
        rng = np.random.default_rng(seed)
        n = len(supply_psi) // PER_TICK

        def sampled(signal: np.ndarray) -> np.ndarray:
            noisy = signal[: n * PER_TICK : 5] + noise_psi * rng.standard_normal(n * PER_TICK // 5)
            return ((np.floor(noisy / count_psi) + 0.5) * count_psi if count_psi else noisy).reshape(n, -1)

        supply, cylinder = sampled(supply_psi), sampled(cylinder_psi)
        return Pressures(
            segment=segment,
            t_s=np.arange(n) * 0.05 + 0.0225,
            supply_gauge_pa=supply.mean(axis=1) * PSI,
            cylinder_gauge_pa=cylinder.mean(axis=1) * PSI,
            cylinder_low_gauge_pa=cylinder.min(axis=1) * PSI,
            flags=np.zeros(n, np.int64),
        )

    def flat(self, seconds: float, supply_psi: float = 100.0, cylinder_psi: float = 90.0, **how: float) -> Pressures:
        n = round(seconds / STEP_S)
        return self.ticks(np.full(n, supply_psi), np.full(n, cylinder_psi), **how)


@pytest.fixture(scope="session")
def bench() -> Bench:
    return Bench()


@pytest.fixture(scope="session")
def instrument() -> Instrument:
    return Instrument(
        restrictor_diameter_m=0.001016,
        discharge_coefficient=0.8,
        critical_ratio=0.5282817877171742,
        atmosphere_pa=ATMOSPHERE,
        gas_temperature_k=293.15,
        set_point_pa=100 * PSI,
        supply_band_pa=2 * PSI,
    )
