from __future__ import annotations

import numpy as np
import pytest

from daq.measure.creep import LARGEST_M3, LEAST_W_PER_K, CreepMonitor, slowest_s
from daq.records import Pressures
from tests.unit.measure.conftest import ATMOSPHERE, PSI, nozzle

EMPTY_S = 1.0


def filled(bench, seconds: float, loss: float, valve=lambda t: 0.0, **how: float) -> Pressures:
    """A cylinder that is empty at first; `valve` opens m2 besides the leak."""
    leak = bench.leak_m2(loss)
    supply, cylinder = bench.run(seconds, lambda t: leak + valve(t), **how)
    rest = np.zeros(round(EMPTY_S * 1000))
    return bench.ticks(np.concatenate((rest + 100, supply)), np.concatenate((rest, cylinder)), noise_psi=0.005)


def slow_mode_s(bench, volume_cc: float, loss: float, wall_w_k: float) -> float:
    """The slower time constant of the mass and the energy balance of the bench about their steady state, by
    differences; the textbook nozzle, air and walls at 293 K."""
    volume, supply = volume_cc * 1e-6, 100 * PSI + ATMOSPHERE
    pressure, leak = (100 - loss) * PSI + ATMOSPHERE, bench.leak_m2(loss)

    def rates(state: np.ndarray) -> np.ndarray:
        p, mass = state
        gas_k = p * volume / (mass * 287.05)
        into, out = nozzle(bench.restrictor_m2, supply, 293.15, p), nozzle(leak, p, gas_k, ATMOSPHERE)
        heat = 1004.675 * (293.15 * into - gas_k * out) + wall_w_k * (293.15 - gas_k)
        return np.array([0.4 / volume * heat, into - out])

    steady = np.array([pressure, pressure * volume / (287.05 * 293.15)])
    steps = np.diag(1e-5 * steady)
    jacobian = np.stack([(rates(steady + step) - rates(steady - step)) / (2 * step.sum()) for step in steps], axis=1)
    return -1 / np.linalg.eigvals(jacobian).real.max()


@pytest.mark.parametrize("loss", [2.0, 10.0, 40.0])
@pytest.mark.parametrize(("volume_cc", "wall_w_k"), [(50.0, 0.2), (50.0, 3.0), (200.0, 0.2), (200.0, 3.0)])
def test_never_shorter_than_it_can_be_and_not_much_longer(bench, instrument, volume_cc, wall_w_k, loss) -> None:
    pressures = filled(bench, 8.0, loss, volume_cc=volume_cc, wall_w_k=wall_w_k)
    told_s = np.median(CreepMonitor(instrument).feed(pressures)[-40:])
    assert 1.0 < told_s / slow_mode_s(bench, volume_cc, loss, LEAST_W_PER_K) < 1.8


@pytest.mark.parametrize("loss", [0.5, 2.0, 10.0, 30.0, 60.0])
@pytest.mark.parametrize("wall_w_k", [0.0, 0.15, 2.0])
def test_the_slow_mode_is_that_of_the_balances(bench, loss: float, wall_w_k: float) -> None:
    """Against the eigenvalues of the balances, linearised by differences."""
    supply, cylinder = 100 * PSI + ATMOSPHERE, (100 - loss) * PSI + ATMOSPHERE
    flow, less = (nozzle(bench.restrictor_m2, supply, 293.15, cylinder * part) for part in (1.0, 1.0001))
    mass = np.array([cylinder * 60e-6 / (287.05 * 293.15)])
    told_s = slowest_s(mass, np.array([flow]), np.array([(flow - less) / 1e-4]), wall_w_k)
    assert told_s[0] == pytest.approx(slow_mode_s(bench, 60.0, loss, wall_w_k), rel=0.05)


@pytest.mark.parametrize("loss", [1.0, 4.0])
def test_a_real_creep_is_not_slower(bench, instrument, loss: float) -> None:
    """By a simulated fill with hardly any heat exchange: the time constant of its last 0.3 psi."""
    _, cylinder = bench.run(40.0, lambda t: bench.leak_m2(loss), volume_cc=150.0, wall_w_k=0.2)
    left = cylinder[-1] - cylinder
    rows = (left < 0.3) & (left > 0.05) & (np.arange(40_000) > 1500)
    true_s = -1e-3 / np.polyfit(np.flatnonzero(rows), np.log(left[rows]), 1)[0]
    told_s = CreepMonitor(instrument).feed(filled(bench, 8.0, loss, volume_cc=150.0, wall_w_k=0.2))[-40:]
    assert 1.0 < np.median(told_s) / true_s < 1.8


def test_the_largest_is_taken_while_no_fill_was_seen(bench, instrument) -> None:
    seen_s = np.median(CreepMonitor(instrument).feed(bench.flat(4)))
    assert seen_s == pytest.approx(slow_mode_s(bench, 1e6 * LARGEST_M3, 10.0, LEAST_W_PER_K), rel=0.05)


@pytest.mark.parametrize(("area_m2", "seconds"), [(5e-6, 0.05), (2e-5, 0.03), (3e-5, 0.08), (6e-5, 0.2)])
def test_what_comes_back_after_a_tap_is_no_fill(bench, instrument, area_m2, seconds) -> None:
    """Cooled air is warmed and rises faster than what flows in lets it: the volume would look smaller."""
    calm = CreepMonitor(instrument).feed(filled(bench, 8.0, 30.0, volume_cc=60.0))
    tapped = filled(bench, 8.0, 30.0, lambda t: area_m2 * (4.0 <= t < 4.0 + seconds), volume_cc=60.0)
    monitor = CreepMonitor(instrument)
    assert tapped.cylinder_gauge_pa[100:].min() < 0.9 * tapped.cylinder_gauge_pa[-1]
    np.testing.assert_allclose(monitor.feed(tapped)[-20:], calm[-20:], rtol=0.01)


def test_an_empty_cylinder_and_a_new_segment_begin_anew(bench, instrument) -> None:
    small, monitor = filled(bench, 4.0, 5.0, volume_cc=40.0), CreepMonitor(instrument)
    first = monitor.feed(small)[-1]
    large = filled(bench, 8.0, 5.0, volume_cc=160.0)
    assert monitor.feed(large)[-1] > 3 * first
    flat = bench.flat(4, cylinder_psi=95.0, segment=1)
    assert monitor.feed(flat)[-1] > 1.3 * CreepMonitor(instrument).feed(large)[-1]


def test_noise_is_no_fill(bench, instrument) -> None:
    """Nor is a hand on the hose: 1 psi within a tick."""
    calm = filled(bench, 60.0, 1.0, volume_cc=150.0)
    told = CreepMonitor(instrument).feed(calm)
    calm.cylinder_gauge_pa[100:] += 0.5 * PSI * np.random.default_rng(3).standard_normal(len(told) - 100)
    calm.cylinder_gauge_pa[600:] += PSI
    noisy = CreepMonitor(instrument).feed(calm)
    assert np.median(noisy[-300:]) > 0.9 * np.median(told[-300:])


@pytest.mark.filterwarnings("error")
def test_a_sensor_that_reads_below_vacuum_tells_nothing(bench, instrument) -> None:
    broken = bench.flat(4)
    broken.supply_gauge_pa[20:30], broken.cylinder_gauge_pa[40:50] = -ATMOSPHERE, -2 * ATMOSPHERE
    unknown = np.isnan(CreepMonitor(instrument).feed(broken))
    assert unknown[20:30].all() and unknown[40:50].all() and unknown.sum() == 20
