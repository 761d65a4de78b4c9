"""What a mechanic does on the bench."""

from __future__ import annotations

from math import degrees, radians

import pytest

from simulator.build import bench_of
from simulator.physics.bench import Bench
from simulator.physics.leaks import LeakPath

PSI = 6894.757293168361


@pytest.fixture
def bench(quiet) -> Bench:
    return bench_of(quiet(), seed=1)


@pytest.fixture
def under_air(bench: Bench) -> Bench:
    bench.connect(1)
    bench.open_air(0.4)
    bench.advance(8.0)
    return bench


def test_nothing_connected_shows_the_supply_and_an_empty_hose(bench: Bench) -> None:
    bench.advance(1.0)
    assert bench.supply_gauge_pa / PSI == pytest.approx(100.0)
    assert bench.cylinder_gauge_pa == pytest.approx(0.0, abs=1e-3)


def test_air_comes_no_faster_than_the_valve_turns(bench: Bench) -> None:
    pressures = []
    for ramp_s in (0.0, 1.0):
        bench.connect(1)
        bench.open_air(ramp_s)
        bench.advance(bench.time_s + 0.1)
        pressures.append(bench.cylinder_gauge_pa / PSI)
    assert pressures[1] < 0.15 * pressures[0]


def test_vent_lets_the_cylinder_out_and_keeps_the_supply(under_air: Bench) -> None:
    assert under_air.cylinder_gauge_pa / PSI == pytest.approx(90.1, abs=0.1)
    under_air.vent()
    under_air.advance(10.0)
    assert under_air.cylinder_gauge_pa / PSI == pytest.approx(0.0, abs=0.01)
    assert under_air.supply_gauge_pa / PSI == pytest.approx(100.0)


def test_taps_clear_debris_for_good(quiet) -> None:
    bench = bench_of(quiet(), seed=1)
    leaks = bench.cylinders[1].leaks
    leaks.debris_m2[LeakPath.EXHAUST] = 0.4e-6
    clean_m2 = leaks.total_m2 - 0.4e-6
    bench.connect(1)
    bench.open_air(0.0)
    bench.advance(8.0)
    before_pa = bench.cylinder_gauge_pa
    for remaining in (0.2e-6, 0.1e-6):
        bench.open_valve(5e-6)
        bench.advance(bench.time_s + 0.01)
        bench.close_valve(LeakPath.EXHAUST, clears=0.5)
        assert leaks.total_m2 == pytest.approx(clean_m2 + remaining)
    bench.advance(bench.time_s + 8.0)
    assert bench.cylinder_gauge_pa > before_pa + 5 * PSI


def test_a_tap_may_lodge_debris(under_air: Bench) -> None:
    leaks = under_air.cylinders[1].leaks
    before_m2 = leaks.total_m2
    under_air.open_valve(5e-6)
    under_air.close_valve(LeakPath.EXHAUST, clears=0.0, lodged_m2=0.1e-6)
    assert leaks.total_m2 == pytest.approx(before_m2 + 0.1e-6)


def test_a_hand_on_the_hose_pushes_once_and_lets_go_once(under_air: Bench) -> None:
    level_pa, volume_m3 = under_air.cylinder_gauge_pa, under_air.chamber.volume_m3
    under_air.squeeze_hose(0.5e-6)
    under_air.advance(8.05)
    under_air.advance(8.1)
    assert under_air.chamber.volume_m3 == pytest.approx(volume_m3 - 0.5e-6)
    assert under_air.cylinder_gauge_pa > level_pa + 0.3 * PSI
    under_air.advance(12.0)
    assert under_air.cylinder_gauge_pa == pytest.approx(level_pa, abs=0.02 * PSI)
    under_air.squeeze_hose(0.0)
    under_air.advance(12.1)
    assert under_air.chamber.volume_m3 == pytest.approx(volume_m3)
    assert under_air.cylinder_gauge_pa < level_pa - 0.3 * PSI


def test_crank_knocked_a_little_stays(under_air: Bench) -> None:
    before_pa = under_air.cylinder_gauge_pa
    under_air.turn_crank(radians(1.0))
    swept_m3 = under_air.crank.geometry.volume_m3(radians(1.0)) - 55e-6
    assert under_air.chamber.volume_m3 == pytest.approx(75e-6 + swept_m3, rel=1e-12)
    assert swept_m3 > 1e-9
    under_air.advance(12.0)
    assert degrees(under_air.crank.angle_rad) == 1.0
    assert under_air.cylinder_gauge_pa == pytest.approx(before_pa, abs=0.01 * PSI)


def test_crank_knocked_too_far_rolls_and_the_pressure_goes(under_air: Bench) -> None:
    under_air.turn_crank(radians(8.0))
    under_air.advance(12.0)
    assert degrees(under_air.crank.angle_rad) > 90.0
    assert under_air.cylinder_gauge_pa < 30 * PSI


def test_the_next_cylinder_starts_at_top_dead_centre(under_air: Bench) -> None:
    under_air.turn_crank(radians(8.0))
    under_air.advance(12.0)
    under_air.vent()
    under_air.connect(1)
    under_air.open_air(0.0)
    under_air.advance(22.0)
    assert under_air.cylinder_gauge_pa / PSI == pytest.approx(90.1, abs=0.1)


def test_droop_and_its_end(under_air: Bench) -> None:
    under_air.regulator.droop_to_pa = 92 * PSI
    under_air.advance(10.0)
    assert under_air.supply_gauge_pa / PSI == pytest.approx(92.0)
    under_air.regulator.droop_to_pa = None
    under_air.advance(12.0)
    assert under_air.supply_gauge_pa / PSI == pytest.approx(100.0)


def test_the_tank_gives_what_the_cylinder_takes(under_air: Bench) -> None:
    other_kg = 0.5e-3 * 8.0
    fallen_pa = 150 * PSI - under_air.compressor.gauge_pa
    taken_kg = fallen_pa * 0.05 / (287.05 * 293.15)
    assert taken_kg - other_kg == pytest.approx(under_air.chamber.supplied_kg, rel=1e-3)
