"""Readings of whole engines with their real budgets, as the instrument would give them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from daq.measure.orifice import CRITICAL_RATIO
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow
from daq.records import Calibration, ChannelCalibration, CylinderDone, Instrument, Pairing, StableReading

PSI = 6894.757293168361
SET_PA = 100 * PSI
INSTRUMENT = Instrument(0.001016, 0.8, CRITICAL_RATIO, 101_325.0, 293.15, SET_PA, 2 * PSI)
_CHANNEL = ChannelCalibration(
    0.5, 37.5 * PSI, 150 * PSI, 0.75 * PSI, u_zero_pa=400.0, u_span=8e-4, hysteresis_pa=300.0, nonlinearity_pa=200.0
)
_PAIRING = Pairing("paired", 0.0, 0.0, 0.0, 250.0, 4e-4, -0.5, 100.0, 20.0, 0.0, SET_PA)
PAIRED = Calibration("paired", "bench", "2026-11-25", 5.0, _CHANNEL, _CHANNEL, _PAIRING)
UNPAIRED = replace(PAIRED, calibration_id="unpaired", pairing=None)


def reading(
    loss_pct: float, calibration: Calibration = PAIRED, supply_pa: float = SET_PA, noise_pa: float = 60.0
) -> StableReading:
    """A stable reading of this loss at the supply that it was read at."""
    window = StableWindow(1, 9.0, 1.0, 20, supply_pa, supply_pa * (1 - loss_pct / 100), noise_pa, noise_pa)
    return stable_reading(window, INSTRUMENT, calibration, 0.0, resolution_pa=0.0)


def done(cylinder: int, as_found: StableReading, after: StableReading | None = None, taps: int = 0) -> CylinderDone:
    label = {"cylinder": cylinder}
    return CylinderDone(1, 9.0, cylinder, replace(as_found, **label), replace(after, **label) if after else None, taps)


def engine(losses_pct: list[float], calibration: Calibration = PAIRED, noise_pa: float = 60.0) -> list[CylinderDone]:
    """Cylinders 1, 2, ... as found, no taps."""
    return [done(i, reading(loss, calibration, noise_pa=noise_pa)) for i, loss in enumerate(losses_pct, start=1)]


def draw(seed: int, covariance: np.ndarray, times: int) -> np.ndarray:
    """Errors with this covariance, shape (times, readings)."""
    n = len(covariance)
    return np.random.default_rng(seed).multivariate_normal(np.zeros(n), covariance, times, method="eigh")
