from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from daq.measure.supply import SupplyMonitor
from daq.measure.taps import TapDetector
from daq.records import Instrument, Pressures, Tap

Course = Callable[[float], float]


def detect(instrument: Instrument, pressures: Pressures, resolution_pa: float = 0.0) -> list[Tap]:
    held, _ = SupplyMonitor(instrument).feed(pressures)
    return TapDetector(instrument, resolution_pa).feed(pressures, held)


def tapped(
    leak_m2: float, *taps: tuple[float, float, float], after_m2: float | None = None
) -> Callable[[float], float]:
    """Leak against time: `taps` are (start s, seconds, m2); after the first, `after_m2` is what remains."""

    def course(t: float) -> float:
        rest = leak_m2 if after_m2 is None or t < taps[0][0] else after_m2
        return rest + sum(area for start, seconds, area in taps if start <= t < start + seconds)

    return course


@pytest.mark.parametrize("volume_cc", [50.0, 150.0])
@pytest.mark.parametrize(("area_m2", "seconds"), [(2e-6, 0.005), (2e-6, 0.05), (10e-6, 0.02), (30e-6, 0.05)])
def test_a_tap_is_found_with_its_depth(bench, instrument, area_m2: float, seconds: float, volume_cc: float) -> None:
    leak = bench.leak_m2(10)
    supply, cylinder = bench.run(7.0, tapped(leak, (4.013, seconds, area_m2)), start_psi=90.0, volume_cc=volume_cc)
    for noise_psi, count_psi in ((0.02, 0.0), (0.1, 0.183)):
        pressures = bench.ticks(supply, cylinder, noise_psi, count_psi)
        (tap,) = detect(instrument, pressures, count_psi * 6894.76)
        depth_psi = cylinder[4012] - cylinder[4012:5000].min()
        assert tap.depth_pa / 6894.76 == pytest.approx(depth_psi, rel=0.03, abs=0.25 + 4 * noise_psi)
        assert 3.98 < tap.onset_s < 4.08
        assert tap.t_s == pytest.approx(tap.onset_s + tap.recovery_s) and 0.1 < tap.recovery_s < 3


@pytest.mark.parametrize("apart_s", [0.35, 0.5, 0.8, 1.2, 2.0])
def test_taps_in_a_row_are_counted_one_by_one(bench, instrument, apart_s: float) -> None:
    taps = [(4.0 + i * apart_s, 0.02, 5e-6) for i in range(3)]
    found = detect(instrument, bench.ticks(*bench.run(11.0, tapped(bench.leak_m2(10), *taps), start_psi=90.0)))
    assert len(found) == 3
    for tap, (start, *_) in zip(found, taps, strict=True):
        assert tap.onset_s == pytest.approx(start, abs=0.06)
    assert [tap.t_s for tap in found] == sorted(tap.t_s for tap in found)


@pytest.mark.parametrize("after_pct", [4.0, 16.0])
def test_a_tap_may_leave_the_valve_better_or_worse(bench, instrument, after_pct: float) -> None:
    leak = tapped(bench.leak_m2(10), (4.0, 0.02, 10e-6), after_m2=bench.leak_m2(after_pct))
    (tap,) = detect(instrument, bench.ticks(*bench.run(9.0, leak, start_psi=90.0)))
    assert tap.depth_pa > 40 * 6894


@pytest.mark.parametrize("after_pct", [4.0, 8.0, 12.0, 16.0])
@pytest.mark.parametrize("apart_s", [0.8, 1.4])
def test_a_second_tap_soon_after_one_that_changed_the_valve_is_found(bench, instrument, after_pct, apart_s) -> None:
    taps = [(4.0, 0.01, 6e-6), (4.0 + apart_s, 0.01, 6e-6)]
    leak = tapped(bench.leak_m2(14), *taps, after_m2=bench.leak_m2(after_pct))
    found = detect(instrument, bench.ticks(*bench.run(9.0, leak, start_psi=86.0)))
    assert [tap.onset_s for tap in found] == [pytest.approx(4.0, abs=0.06), pytest.approx(4.0 + apart_s, abs=0.06)]


def test_a_hose_pulled_off_is_no_tap(bench, instrument) -> None:
    leak = tapped(bench.leak_m2(10), (4.0, 99.0, 300e-6))
    assert not detect(instrument, bench.ticks(*bench.run(10.0, leak, start_psi=90.0)))


def test_a_leak_that_grows_and_stays_is_no_tap(bench, instrument) -> None:
    leak = tapped(bench.leak_m2(10), (4.0, 99.0, 1e-6))
    assert not detect(instrument, bench.ticks(*bench.run(10.0, leak, start_psi=90.0)))


def test_filling_is_no_tap(bench, instrument) -> None:
    supply, cylinder = bench.run(5.0, lambda t: bench.leak_m2(10))
    before = np.zeros(3000)
    pressures = bench.ticks(np.concatenate((np.full(3000, 100.0), supply)), np.concatenate((before, cylinder)))
    assert not detect(instrument, pressures)


@pytest.mark.parametrize("droop_psi", [1.5, 4.0, 10.0, 40.0])
@pytest.mark.parametrize("fall_s", [0.05, 0.4])
def test_a_droop_of_the_supply_is_no_tap(bench, instrument, droop_psi: float, fall_s: float) -> None:
    def supply(t: float) -> float:
        return 100.0 - float(np.interp(t, [4, 4 + fall_s, 4.3 + fall_s, 4.4 + fall_s], [0, droop_psi, droop_psi, 0]))

    leak = bench.leak_m2(10)
    assert not detect(instrument, bench.ticks(*bench.run(8.0, lambda t: leak, supply, start_psi=90.0)))


def test_a_compressor_that_cycles_is_no_tap(bench, instrument) -> None:
    leak = bench.leak_m2(10)
    signal = bench.run(10.0, lambda t: leak, lambda t: 100 + 1.0 * np.sin(2 * np.pi * t / 1.5), start_psi=90.0)
    assert not detect(instrument, bench.ticks(*signal))


def test_a_tap_during_a_droop_of_the_supply_is_still_one(bench, instrument) -> None:
    leak = tapped(bench.leak_m2(10), (4.2, 0.02, 10e-6))
    signal = bench.run(8.0, leak, lambda t: 98.5 if 4.0 < t < 5.0 else 100.0, start_psi=90.0)
    assert len(detect(instrument, bench.ticks(*signal))) == 1


@pytest.mark.parametrize(("noise_psi", "count_psi"), [(0.02, 0.0), (0.1, 0.183), (0.5, 0.0)])
def test_noise_is_no_tap(bench, instrument, noise_psi: float, count_psi: float) -> None:
    pressures = bench.flat(600, noise_psi=noise_psi, count_psi=count_psi, seed=2)
    assert not detect(instrument, pressures, count_psi * 6894.76)


def test_a_disturbance_of_single_samples_is_no_tap(bench, instrument) -> None:
    cylinder = np.full(60_000, 90.0)
    cylinder[5000::1775] -= 30.0
    assert not detect(instrument, bench.ticks(np.full(60_000, 100.0), cylinder))


def test_nothing_is_a_tap_before_the_line_is_pressurised(bench, instrument) -> None:
    leak = tapped(bench.leak_m2(10), (4.0, 0.02, 10e-6))
    assert not detect(instrument, bench.ticks(*bench.run(8.0, leak, lambda t: 20.0, start_psi=18.0)))


def test_a_cylinder_side_hardly_under_pressure_has_no_taps(bench, instrument) -> None:
    cylinder = np.full(8000, 4.0)
    cylinder[4000:4300] = np.linspace(1.0, 4.0, 300)
    assert not detect(instrument, bench.ticks(np.full(8000, 100.0), cylinder))


def test_supply_switched_off_and_on_is_no_tap(bench, instrument) -> None:
    leak = bench.leak_m2(10)
    signal = bench.run(9.0, lambda t: leak, lambda t: 100.0 if not 4.1 < t < 4.8 else 0.0, start_psi=90.0)
    assert not detect(instrument, bench.ticks(*signal))


def test_a_hose_pulled_off_and_put_back_is_no_tap(bench, instrument) -> None:
    leak = tapped(bench.leak_m2(10), (4.0, 5.0, 300e-6))
    assert not detect(instrument, bench.ticks(*bench.run(13.0, leak, start_psi=90.0)))


def test_a_burst_of_disturbed_samples_is_no_tap(bench, instrument) -> None:
    """Two samples of ten in each of five ticks: the means say that no air went."""
    cylinder = np.full(8000, 90.0)
    cylinder[4020:4270:50] -= 8.0
    cylinder[4025:4270:50] -= 8.0
    assert not detect(instrument, bench.ticks(np.full(8000, 100.0), cylinder))


def test_a_coarse_converter_on_the_edge_of_a_count_is_no_tap(bench, instrument) -> None:
    count_psi = 1.5
    wander = np.where(np.arange(20_000) % 3000 < 400, 89.9, 90.1)
    pressures = bench.ticks(np.full(20_000, 100.2), wander, noise_psi=0.0, count_psi=count_psi)
    assert len(detect(instrument, pressures)) > 3
    assert not detect(instrument, pressures, count_psi * 6894.76)


def test_a_fall_does_not_reach_into_the_next_segment(bench, instrument) -> None:
    pressures = bench.ticks(*bench.run(7.0, tapped(bench.leak_m2(10), (4.0, 0.02, 10e-6)), start_psi=90.0))

    def found(segment: int) -> list[Tap]:
        detector, taps = TapDetector(instrument), []
        for rows, number in ((slice(0, 83), 0), (slice(83, None), segment)):
            columns = (pressures.t_s, pressures.supply_gauge_pa, pressures.cylinder_gauge_pa)
            part = [column[rows] for column in (*columns, pressures.cylinder_low_gauge_pa, pressures.flags)]
            taps += detector.feed(Pressures(number, *part), np.ones(len(part[0]), np.bool_))
        return taps

    assert len(found(0)) == 1 and not found(1)


@pytest.mark.parametrize("after_pct", [1.0, 3.0])
@pytest.mark.parametrize("phase_s", [0.0, 0.012, 0.025, 0.038, 0.049])
@pytest.mark.parametrize(("area_m2", "seconds"), [(3e-6, 0.004), (10e-6, 0.004), (10e-6, 0.02)])
def test_a_tap_on_a_tight_small_cylinder_is_one_tap(
    bench, instrument, phase_s: float, after_pct: float, area_m2: float, seconds: float
) -> None:
    """Full again within one tick or two; whether the blow falls early or late in a tick makes no difference."""
    leak = tapped(bench.leak_m2(3), (4.0 + phase_s, seconds, area_m2), after_m2=bench.leak_m2(after_pct))
    signal = bench.run(6.0, leak, start_psi=97.0, volume_cc=30.0)
    (tap,) = detect(instrument, bench.ticks(*signal))
    assert tap.onset_s == pytest.approx(4.0 + phase_s, abs=0.06)


@pytest.mark.parametrize("samples", [3, 4, 10])
def test_one_bad_sample_is_no_tap_on_a_slow_board(bench, instrument, samples: int) -> None:
    rng = np.random.default_rng(4)
    cylinder = 90 + 0.02 * rng.standard_normal((400, samples))
    cylinder[100::37, 1] -= 30.0
    pressures = bench.ticks(np.full(20_000, 100.0), np.full(20_000, 90.0))
    disturbed = replace(
        pressures,
        cylinder_gauge_pa=cylinder.mean(axis=1) * 6894.76,
        cylinder_low_gauge_pa=cylinder.min(axis=1) * 6894.76,
    )
    assert not detect(instrument, disturbed)


def test_a_fall_that_rests_at_its_lowest_is_one_tap_from_its_first_tick(bench, instrument) -> None:
    """The mean of the tick with the lowest sample still holds what came before: it is no recovery."""
    pressures = bench.flat(6.0, noise_psi=0.01)
    for row, (mean_psi, low_psi) in enumerate([(89.8, 86.0), (71.1, 63.0), (73.0, 65.0), (84.6, 80.4), (89.0, 88.0)]):
        pressures.cylinder_gauge_pa[80 + row] = mean_psi * 6894.76
        pressures.cylinder_low_gauge_pa[80 + row] = low_psi * 6894.76
    (tap,) = detect(instrument, pressures)
    assert tap.onset_s == pressures.t_s[80] and tap.t_s == pressures.t_s[84]
    assert tap.depth_pa / 6894.76 == pytest.approx(27.0, abs=0.1)


def test_a_faint_tap_while_a_deep_one_still_recovers_is_found(bench, instrument) -> None:
    """How deep the first was says nothing about the second; only the noise does."""
    leak = tapped(bench.leak_m2(10), (4.0, 0.03, 20e-6), (4.6, 0.005, 6e-6))
    found = detect(instrument, bench.ticks(*bench.run(9.0, leak, start_psi=90.0, volume_cc=120.0)))
    assert [tap.onset_s for tap in found] == [pytest.approx(4.0, abs=0.06), pytest.approx(4.6, abs=0.06)]
    assert found[1].depth_pa < 0.15 * found[0].depth_pa


@pytest.mark.parametrize("open_s", [1.7, 2.2])
def test_a_line_that_was_vented_and_filled_again_at_once_is_no_tap(bench, instrument, open_s: float) -> None:
    """Full again within the time that a tap may take; but no tap leaves a cylinder empty for so long."""
    leak = tapped(bench.leak_m2(10), (4.0, open_s, 300e-6))
    pressures = bench.ticks(*bench.run(10.0, leak, start_psi=90.0))
    assert pressures.cylinder_gauge_pa[-1] > 0.89 * instrument.set_point_pa
    assert not detect(instrument, pressures)


@pytest.mark.parametrize(("seconds", "area_m2", "after_pct"), [(0.01, 4e-6, 18.0), (0.03, 4e-6, 30.0)])
def test_a_sudden_fall_that_comes_back_a_little_is_a_tap_that_left_the_valve_worse(
    bench, instrument, seconds: float, area_m2: float, after_pct: float
) -> None:
    """Less than half of its depth; told as soon as the new level stands."""
    leak = tapped(bench.leak_m2(10), (4.0, seconds, area_m2), after_m2=bench.leak_m2(after_pct))
    supply, cylinder = bench.run(9.0, leak, start_psi=90.0, volume_cc=75.0)
    back = (cylinder[6000] - cylinder.min()) / (90.0 - cylinder.min())
    assert 0.15 < back < 0.48
    (tap,) = detect(instrument, bench.ticks(supply, cylinder))
    assert 3.98 < tap.onset_s < 4.08 and tap.recovery_s < 2.0


@pytest.mark.parametrize(("falls_s", "low_psi", "taps"), [(0.05, 60.0, 1), (0.3, 60.0, 0), (0.05, 68.5, 0)])
def test_what_rolls_or_comes_loose_is_no_tap(bench, instrument, falls_s: float, low_psi: float, taps: int) -> None:
    """A crank takes longer to roll than a blow; a hose that comes loose does not come back."""
    times, levels = [4.0, 4.0 + falls_s, 4.3 + falls_s], [90.0, low_psi, 70.0]
    cylinder = np.interp(np.arange(9000) * 1e-3, times, levels)
    assert len(detect(instrument, bench.ticks(np.full(9000, 100.0), cylinder))) == taps


def falling(instrument: Instrument, pressures: Pressures) -> list[float]:
    """First and last time at which a fall is under way."""
    detector = TapDetector(instrument)
    detector.feed(pressures, np.ones(len(pressures.t_s), bool))
    times = pressures.t_s[detector.falling]
    return [times[0], times[-1]] if len(times) else []


def test_a_fall_is_under_way_until_it_is_known_what_it_was(bench, instrument) -> None:
    leak = tapped(bench.leak_m2(10), (4.0, 0.02, 10e-6))
    pressures = bench.ticks(*bench.run(9.0, leak, start_psi=90.0))
    (tap,) = detect(instrument, pressures)
    assert falling(instrument, pressures) == [tap.onset_s, pytest.approx(tap.t_s - 0.05)]
    loose = bench.ticks(*bench.run(9.0, tapped(bench.leak_m2(10), (4.0, 99.0, 1e-6)), start_psi=90.0))
    assert falling(instrument, loose) == [pytest.approx(4.0, abs=0.1), pytest.approx(7.5, abs=0.1)]


def test_a_fall_that_the_supply_explains_is_none(bench, instrument) -> None:
    leak = bench.leak_m2(10)
    droop = bench.ticks(*bench.run(9.0, lambda t: leak, lambda t: 98.0 if t > 4 else 100.0, start_psi=90.0))
    assert falling(instrument, droop) == []


@pytest.mark.parametrize("between_psi", [-18.0, 40.0])
def test_a_wire_that_breaks_for_a_while_is_no_tap(instrument, bench, between_psi: float) -> None:
    """Also where the mean of the first tick lies between; the rows that nobody believes are told by `broken`."""
    pressures = bench.flat(10.0, cylinder_psi=90.0)
    pressures.cylinder_gauge_pa[100:130] = pressures.cylinder_low_gauge_pa[100:130] = -18.0 * 6894.757
    pressures.cylinder_gauge_pa[100] = between_psi * 6894.757
    broken = pressures.cylinder_gauge_pa < -5 * 6894.757
    assert TapDetector(instrument).feed(pressures, ~broken, broken) == []


@pytest.mark.parametrize("lasts", [8, 30])
def test_a_wire_that_comes_back_hides_no_tap(instrument, bench, lasts: int) -> None:
    """What nobody believed was higher; that is no fall."""
    supply, cylinder = bench.run(9.0, tapped(bench.leak_m2(10), (5.0, 0.02, 10e-6)), start_psi=90.0)
    pressures = bench.ticks(supply, cylinder)
    believed = np.ones(len(pressures.t_s), bool)
    believed[60 : 60 + lasts] = False
    for channel in (pressures.cylinder_gauge_pa, pressures.cylinder_low_gauge_pa):
        channel[60 : 60 + lasts] += 25 * 6894.757
    (tap,) = TapDetector(instrument).feed(pressures, believed)
    assert tap.onset_s == pytest.approx(5.0, abs=0.06)
