"""Expectations of fills whose end is known, made by an integration that shares nothing with the estimator.

Source: mass and energy balance of a gas volume between two nozzles (standard gas dynamics), integrated with
scipy.integrate.solve_ivp (LSODA) in pressure and mass; the end is where that integration stands after a minute.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product
from math import inf, pi, sqrt

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp

from daq.measure.calibration import assumed_calibration
from daq.measure.fill import MOST_TOLD, SHRINKS, FillEstimator
from daq.records import Calibration, Expectation, Instrument, Pairing, Pressures

Floats = npt.NDArray[np.float64]
PSI = 6894.757293168361
ATMOSPHERE, WARM, GAMMA, R = 101_325.0, 293.15, 1.4, 287.05
SUPPLY = 100 * PSI
RESTRICTOR = 0.8 * pi / 4 * 1.016e-3**2
INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, ATMOSPHERE, WARM, SUPPLY, 2 * PSI)
PAIRING = Pairing("blocked", 0.0, 0.0, 0.0, 300.0, 5e-4, -0.8, 200.0, 8.0, 0.3 * SUPPLY, SUPPLY)
PAIRED = replace(assumed_calibration(), pairing=PAIRING)
TICK_S, SAMPLES, LEAD_S = 0.05, 10, 0.5


def nozzle(up: float, down: float, up_k: float) -> float:
    """Mass flow for each m2, kg/s."""
    if down > up:
        return -nozzle(down, up, up_k)
    ratio = max(down / up, (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1)))
    head = ratio ** (2 / GAMMA) - ratio ** ((GAMMA + 1) / GAMMA)
    return up * sqrt(2 * GAMMA / ((GAMMA - 1) * R * up_k) * max(head, 0.0))


def course(
    volume: float, leak: float, heat: float, wall: float, ramp_s: float, times: Floats, begin: float = ATMOSPHERE
) -> Floats:
    """Absolute pressures of a cylinder that is opened to the supply within `ramp_s`. m3, m2, W/K, K."""
    supply, cp = SUPPLY + ATMOSPHERE, GAMMA * R / (GAMMA - 1)

    def rates(t: float, state: Floats) -> list[float]:
        pressure, mass = state
        here = wall if heat == inf else pressure * volume / (mass * R)
        opened = min(t / ramp_s, 1.0) if ramp_s else 1.0
        flow_in = opened * RESTRICTOR * nozzle(supply, pressure, WARM)
        flow_out = leak * nozzle(pressure, ATMOSPHERE, here)
        if heat == inf:
            return [R * wall / volume * (flow_in - flow_out), flow_in - flow_out]
        power = cp * (WARM * flow_in - here * flow_out) + heat * (wall - here)
        return [(GAMMA - 1) / volume * power, flow_in - flow_out]

    start = [begin, begin * volume / (R * wall)]
    span = (0.0, float(times[-1]))
    return np.asarray(solve_ivp(rates, span, start, "LSODA", times, rtol=1e-8, atol=1e-10).y[0])


def leak_for(loss_pct: float) -> float:
    """Effective area of a leak of air as warm as the supplied one, m2."""
    supply, cylinder = SUPPLY + ATMOSPHERE, SUPPLY * (1 - loss_pct / 100) + ATMOSPHERE
    return RESTRICTOR * nozzle(supply, cylinder, WARM) / nozzle(cylinder, ATMOSPHERE, WARM)


def ticks(samples_pa: Floats, supply_pa: Floats, noise_pa: float, count_pa: float, seed: int = 1) -> Pressures:
    """Gauge pressures as a board would give them: noise on each sample, whole counts, means of ten."""
    rng = np.random.default_rng(seed)

    def shown(column: Floats) -> Floats:
        noisy = column + noise_pa * rng.standard_normal(len(column))
        counted = np.floor(noisy / count_pa + 0.5) * count_pa if count_pa else noisy
        return np.asarray(counted.reshape(-1, SAMPLES).mean(axis=-1))

    rows = len(samples_pa) // SAMPLES
    t_s = (np.arange(rows) + 0.5) * TICK_S
    cylinder = shown(samples_pa)
    return Pressures(1, t_s, shown(supply_pa), cylinder, cylinder, np.zeros(rows, np.int64))


def filled(
    volume_cc: float,
    loss_pct: float,
    heat: float,
    *,
    wall: float = WARM,
    ramp_s: float = 0.0,
    seconds: float = 3.0,
    noise_pa: float = 300.0,
    count_pa: float = 250.0,
) -> tuple[Pressures, float]:
    """A fill that begins after half a second of nothing, and the loss that it ends with, percent."""
    times = (np.arange(round(seconds / TICK_S) * SAMPLES) + 0.5) * TICK_S / SAMPLES
    absolute = course(volume_cc * 1e-6, leak_for(loss_pct), heat, wall, ramp_s, np.append(times, 60.0))
    before = np.zeros(round(LEAD_S / TICK_S) * SAMPLES)
    gauge = np.concatenate((before, absolute[:-1] - ATMOSPHERE))
    end_pct = 100 * (1 - (absolute[-1] - ATMOSPHERE) / SUPPLY)
    return ticks(gauge, np.full(len(gauge), SUPPLY), noise_pa, count_pa), float(end_pct)


def told(
    pressures: Pressures, stable_from_s: float = inf, calibration: Calibration = PAIRED, resolution_pa: float = 250.0
) -> list[Expectation]:
    estimator = FillEstimator(INSTRUMENT, calibration, 0.0, resolution_pa)
    return estimator.feed(pressures, pressures.t_s >= stable_from_s)


def inside(expectation: Expectation, end_pct: float) -> bool:
    return expectation.low_pct <= end_pct <= expectation.high_pct


def half_width(expectation: Expectation) -> float:
    return 0.5 * (expectation.high_pct - expectation.low_pct)


def off(expectation: Expectation, end_pct: float) -> float:
    """How far the end is from what was told, in half-widths."""
    return abs(expectation.loss_pct - end_pct) / half_width(expectation)


VOLUMES_CC, LOSSES_PCT = (40.0, 75.0, 150.0), (0.5, 2.0, 10.0, 25.0, 60.0)


@pytest.mark.parametrize(
    ("heat", "least_inside", "farthest"),
    [(inf, 0.85, 3.3), (3.0, 0.95, 1.5), (1.0, 0.95, 1.5), (0.3, 0.95, 1.5), (0.0, 0.9, 2.0)],
)
def test_the_interval_holds_the_end_from_isothermal_to_adiabatic(
    heat: float, least_inside: float, farthest: float
) -> None:
    """Both limits are farther out than any engine; `farthest` is in half-widths."""
    found = []
    for volume_cc, loss_pct, ramp_s in product(VOLUMES_CC, LOSSES_PCT, (0.0, 0.5)):
        pressures, end_pct = filled(volume_cc, loss_pct, heat, ramp_s=ramp_s)
        found += [(each, end_pct) for each in told(pressures)]
    assert len(found) > 80
    assert np.mean([inside(*each) for each in found]) >= least_inside
    assert max(off(*each) for each in found) < farthest


@pytest.mark.parametrize("volume_cc", VOLUMES_CC)
@pytest.mark.parametrize("loss_pct", LOSSES_PCT)
def test_a_fill_is_told_a_few_times_and_better_each_time(volume_cc: float, loss_pct: float) -> None:
    pressures, _ = filled(volume_cc, loss_pct, 1.0, ramp_s=0.3)
    found = told(pressures)
    widths = [half_width(each) for each in found]
    assert 2 <= len(found) <= MOST_TOLD
    assert all(wide >= SHRINKS * narrow for wide, narrow in pairwise(widths))


def test_it_comes_while_most_of_the_reading_is_still_to_come() -> None:
    pressures, end_pct = filled(150.0, 10.0, 1.0, ramp_s=0.3)
    first = told(pressures)[0]
    shown_pct = 100 * (1 - np.interp(first.t_s, pressures.t_s, pressures.cylinder_gauge_pa) / SUPPLY)
    assert shown_pct > end_pct + 10
    assert inside(first, end_pct)


@pytest.mark.parametrize(("noise_pa", "count_pa"), [(0.0, 0.0), (0.0, 1400.0), (1000.0, 250.0), (1000.0, 1400.0)])
def test_noise_coarse_counts_and_a_cold_or_hot_engine_belong_into_the_interval(
    noise_pa: float, count_pa: float
) -> None:
    found = []
    for (volume_cc, loss_pct), wall in product(((50.0, 5.0), (80.0, 10.0), (120.0, 20.0)), (273.15, WARM, 353.15)):
        pressures, end_pct = filled(
            volume_cc, loss_pct, 1.0, wall=wall, ramp_s=0.3, noise_pa=noise_pa, count_pa=count_pa
        )
        found += [(each, end_pct) for each in told(pressures, resolution_pa=max(count_pa, 1.0))]
    assert len(found) > 20
    assert np.mean([inside(*each) for each in found]) >= 0.85
    assert max(off(*each) for each in found) < 2.0


@pytest.mark.parametrize("volume_cc", VOLUMES_CC)
def test_the_volume_is_told_with_what_it_is_worth(volume_cc: float) -> None:
    pressures, _ = filled(volume_cc, 10.0, 1.0)
    last = told(pressures)[-1]
    assert 0.05 < last.u_volume_m3 / last.volume_m3 < 0.5
    assert abs(last.volume_m3 - volume_cc * 1e-6) < 2 * last.u_volume_m3


def recovering(volume_cc: float, loss_pct: float, from_psi: float) -> tuple[Pressures, float]:
    """A second of a steady cylinder, then a tap lets it down to this pressure, and it recovers."""
    times = (np.arange(round(2.5 / TICK_S) * SAMPLES) + 0.5) * TICK_S / SAMPLES
    begin_pa = from_psi * PSI + ATMOSPHERE
    absolute = course(volume_cc * 1e-6, leak_for(loss_pct), 1.0, WARM, 0.0, np.append(times, 60.0), begin_pa)
    steady = np.full(20 * SAMPLES, absolute[-1] - ATMOSPHERE)
    gauge = np.concatenate((steady, absolute[:-1] - ATMOSPHERE))
    return ticks(gauge, np.full(len(gauge), SUPPLY), 300.0, 250.0), 100 * (1 - float(steady[0]) / SUPPLY)


@pytest.mark.parametrize("from_psi", [5.0, 40.0, 70.0])
@pytest.mark.parametrize("volume_cc", VOLUMES_CC)
def test_the_recovery_from_a_tap_is_told_too(volume_cc: float, from_psi: float) -> None:
    pressures, end_pct = recovering(volume_cc, 10.0, from_psi)
    found = told(pressures)
    assert found
    assert all(inside(each, end_pct) for each in found)
    assert found[0].t_s > 1.0


def test_sensors_that_were_never_paired_keep_it_wide() -> None:
    pressures, _ = filled(75.0, 10.0, 1.0)
    found = told(pressures, calibration=assumed_calibration())
    assert found
    assert all(half_width(each) > 1.0 for each in found)


def test_a_stable_reading_ends_it() -> None:
    pressures, _ = filled(75.0, 10.0, 1.0)
    free = told(pressures)
    assert told(pressures, stable_from_s=free[1].t_s) == free[:1]
    assert told(pressures, stable_from_s=0.0) == []


# ---- silence


def level(seconds: float, psi: float) -> Floats:
    return np.full(round(seconds / TICK_S) * SAMPLES, psi * PSI)


def test_silent_while_nothing_fills() -> None:
    """A steady cylinder, its air turned off, and the hose pulled off."""
    cylinder = np.concatenate((level(2, 90), level(2, 85), level(2, 0)))
    assert told(ticks(cylinder, np.full(len(cylinder), SUPPLY), 1500.0, 250.0)) == []


@pytest.mark.parametrize("hump_psi", [-10.0, -3.0, 1.0, 3.0, 10.0])
@pytest.mark.parametrize("width_s", [0.15, 0.4])
@pytest.mark.parametrize("tau_s", [0.02, 0.1, 0.4])
def test_silent_on_a_hump_of_the_regulator(hump_psi: float, tau_s: float, width_s: float) -> None:
    """The cylinder follows the supply with the lag of its filling."""
    times = np.arange(len(level(6, 0))) * TICK_S / SAMPLES
    supply = SUPPLY + hump_psi * PSI * np.exp(-(((times - 3.0) / width_s) ** 2))
    cylinder, now = [], 0.9 * SUPPLY
    for pressure in supply:
        now += (0.9 * pressure - now) * (1 - np.exp(-TICK_S / SAMPLES / tau_s))
        cylinder.append(now)
    assert told(ticks(np.array(cylinder), supply, 300.0, 250.0)) == []


@pytest.mark.parametrize("psi_per_s", [15.0, 30.0, 60.0])
def test_silent_on_a_rise_that_no_fill_makes(psi_per_s: float) -> None:
    """Somebody turns the air up by hand: nothing can be told while it goes on, and afterwards only where it stands."""
    steps = np.arange(0.0, 90.0, psi_per_s * TICK_S / SAMPLES) * PSI
    rising = np.concatenate((level(0.5, 0), steps, level(3, 90)))
    rising = rising[: len(rising) // SAMPLES * SAMPLES]
    found = told(ticks(rising, np.full(len(rising), SUPPLY), 300.0, 250.0))
    assert all(each.t_s > 0.5 + 90 / psi_per_s and inside(each, 10.0) for each in found)


@pytest.mark.parametrize("bounce_psi", [6.0, 12.0])
def test_silent_where_the_pressure_bounces(bounce_psi: float) -> None:
    """A rise with a swing of half a second upon it, as no volume behind a restrictor makes it."""
    times = np.arange(len(level(4, 0))) * TICK_S / SAMPLES
    swing = bounce_psi * np.sin(2 * np.pi * times / 0.5)
    rising = np.maximum((80 * (1 - np.exp(-times / 0.8)) + swing) * PSI, 0.0)
    assert told(ticks(rising, np.full(len(rising), SUPPLY), 300.0, 250.0)) == []


@pytest.mark.parametrize("volume_cc", VOLUMES_CC)
def test_silent_on_a_dip_that_is_too_small_to_follow(volume_cc: float) -> None:
    pressures, _ = recovering(volume_cc, 10.0, 86.0)
    assert told(pressures) == []


def test_an_open_end_is_not_told_of() -> None:
    pressures, _ = filled(75.0, 95.0, 1.0)
    assert told(pressures) == []


@pytest.mark.parametrize("what", ["gap", "unknown", "segment"])
def test_what_interrupts_a_fill_ends_it(what: str) -> None:
    """Rows that are lost or unknown leave too little of the rise to begin anew."""
    pressures, _ = filled(75.0, 10.0, 1.0)
    row = int(np.searchsorted(pressures.t_s, told(pressures)[0].t_s)) - 1
    estimator = FillEstimator(INSTRUMENT, PAIRED, 0.0, 250.0)
    none = np.zeros(len(pressures.t_s), np.bool_)
    if what == "segment":
        before, after = rows(pressures, slice(None, row)), replace(rows(pressures, slice(row, None)), segment=2)
        assert estimator.feed(before, none[:row]) == []
        assert [each for each in estimator.feed(after, none[row:]) if each.segment != 2] == []
        return
    cylinder, t_s = pressures.cylinder_gauge_pa.copy(), pressures.t_s.copy()
    cylinder[row] = np.nan if what == "unknown" else cylinder[row]
    t_s[row:] += 0.5 if what == "gap" else 0.0
    first = told(pressures)[0]
    broken = told(replace(pressures, cylinder_gauge_pa=cylinder, t_s=t_s))
    later_s = 0.5 if what == "gap" else 0.0
    assert all(each.t_s > first.t_s + later_s + 0.1 for each in broken)


def rows(pressures: Pressures, part: slice) -> Pressures:
    columns = {
        name: getattr(pressures, name)[part]
        for name in ("t_s", "supply_gauge_pa", "cylinder_gauge_pa", "cylinder_low_gauge_pa", "flags")
    }
    return replace(pressures, **columns)
