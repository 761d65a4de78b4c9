from __future__ import annotations

import numpy as np
import pytest

from daq.measure.creep import LARGEST_M3, LEAST_W_PER_K, CreepMonitor
from daq.records import Instrument, Pressures
from tests.unit.measure.conftest import nozzle

EMPTY_S = 1.0


def filled(bench, seconds: float, loss: float, valve=lambda t: 0.0, **how: float) -> Pressures:
    """A cylinder that is empty at first; `valve` opens m2 besides the leak."""
    leak = bench.leak_m2(loss)
    supply, cylinder = bench.run(seconds, lambda t: leak + valve(t), **how)
    rest = np.zeros(round(EMPTY_S * 1000))
    return bench.ticks(np.concatenate((rest + 100, supply)), np.concatenate((rest, cylinder)), noise_psi=0.005)


def expected_s(instrument: Instrument, bench, volume_cc: float, loss: float) -> float:
    """M cp / (hA + m cp) at the end, m by the textbook nozzle of the bench."""
    supply_pa = instrument.set_point_pa + instrument.atmosphere_pa
    cylinder_pa = instrument.set_point_pa * (1 - loss / 100) + instrument.atmosphere_pa
    flow = nozzle(bench.restrictor_m2, supply_pa, 293.15, cylinder_pa)
    return cylinder_pa * volume_cc * 1e-6 / (287.05 * 293.15) * 1004.675 / (LEAST_W_PER_K + flow * 1004.675)


@pytest.mark.parametrize("loss", [2.0, 10.0, 40.0])
@pytest.mark.parametrize(("volume_cc", "wall_w_k"), [(50.0, 0.2), (50.0, 3.0), (200.0, 0.2), (200.0, 3.0)])
def test_never_shorter_than_it_can_be_and_not_much_longer(bench, instrument, volume_cc, wall_w_k, loss) -> None:
    pressures = filled(bench, 8.0, loss, volume_cc=volume_cc, wall_w_k=wall_w_k)
    ratio = CreepMonitor(instrument).feed(pressures)[-40:] / expected_s(instrument, bench, volume_cc, loss)
    assert ratio.min() > 0.98 and ratio.max() < 1.9


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
    seen = CreepMonitor(instrument).feed(bench.flat(4))
    heat_j_k = 1004.675 * (90 * 6894.757 + 101_325) * LARGEST_M3 / (287.05 * 293.15)
    flow = nozzle(bench.restrictor_m2, 100 * 6894.757 + 101_325, 293.15, 90.3 * 6894.757 + 101_325)
    np.testing.assert_allclose(seen, heat_j_k / (LEAST_W_PER_K + 1004.675 * flow), rtol=0.01)


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
    calm.cylinder_gauge_pa[100:] += 0.5 * 6894.757 * np.random.default_rng(3).standard_normal(len(told) - 100)
    calm.cylinder_gauge_pa[600:] += 6894.757
    noisy = CreepMonitor(instrument).feed(calm)
    assert np.median(noisy[-300:]) > 0.9 * np.median(told[-300:])
