"""Top dead centre from two passes, against an integration of mass and energy of the air in the cylinder.

See turned_by_hand.py for the integration. What is judged is where the chalk marks of that hand end up.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.procedure import tdc_sweep
from daq.procedure.tdc_sweep import NotUsable, SweepEstimate, leak_time_s, trapped_bias_rad, two_way_sweep
from daq.procedure.tone_watch import ToneWatch
from tests.outside.turned_by_hand import BENCH, ENGINE, PSI, REST_S, TICK_S, Hand, Sweep, leak_area_m2, simulated

AT_20_PSI = math.radians(5.8)


def judged(sweep: Sweep, tolerable_rad: float = AT_20_PSI) -> SweepEstimate | NotUsable:
    return two_way_sweep(sweep.t_s, sweep.supply_pa, sweep.cylinder_pa, ENGINE, BENCH, 0.0, tolerable_rad)


HANDS = [Hand(), Hand(25, 20), Hand(14, 22, -30, 40), Hand(12, 9, -40, 28, 0.3), Hand(35, 30, waver=0.1)]


@pytest.mark.parametrize(("loss_pct", "heat_w_k", "hand"), [
    (2, 1.0, HANDS[0]), (2, 5.0, HANDS[1]), (5, 0.1, HANDS[2]), (5, 1.0, HANDS[3]), (10, 1.0, HANDS[1]),
    (10, 0.1, HANDS[4]), (25, 1.0, HANDS[0]), (25, 5.0, HANDS[3]), (0.5, 1.0, HANDS[1]),
])  # fmt: skip
def test_the_top_lies_where_it_is_said_to(loss_pct: float, heat_w_k: float, hand: Hand) -> None:
    """And it is within the stated interval for marks that follow their tones early or late, alike or not."""
    sweep = simulated(loss_pct, hand, heat_w_k)
    found = judged(sweep)
    assert isinstance(found, SweepEstimate) and found.usable, found
    for forth_s, back_s in ((0.25, 0.25), (0.35, 0.35), (0.15, 0.20), (0.30, 0.25)):
        marks = sweep.mark_deg(found.forward.tone_s, forth_s), sweep.mark_deg(found.back.tone_s, back_s)
        top = sum(marks) / 2 + math.degrees(found.from_middle_rad)
        assert abs(top) < math.degrees(found.expanded_rad)
    assert found.expanded_rad < AT_20_PSI


def test_the_correction_counts() -> None:
    """With one pass twice as quick the bare middle is off by more than the corrected one."""
    sweep = simulated(10, Hand(14, 24, waver=0.0))
    found = judged(sweep)
    assert isinstance(found, SweepEstimate)
    marks = sweep.mark_deg(found.forward.tone_s, 0.25), sweep.mark_deg(found.back.tone_s, 0.25)
    bare = sum(marks) / 2
    assert abs(bare) > 2 and abs(bare + math.degrees(found.from_middle_rad)) < 0.4
    assert math.degrees(found.apart_rad) == pytest.approx(marks[0] - marks[1], rel=0.15)


@pytest.mark.parametrize("loss_pct", [2, 10, 25])
def test_speed_and_the_error_of_the_peak_of_one_pass(loss_pct: float) -> None:
    sweep = simulated(loss_pct, Hand(25, 25, waver=0.0))
    found = judged(sweep)
    assert isinstance(found, SweepEstimate)
    assert math.degrees(found.forward.speed) == pytest.approx(25 / 0.85, rel=0.1)
    peak_deg = math.degrees(sweep.hand.angle(found.forward.peak_s))
    assert -30 < peak_deg < -10, "one way the peak is far before the top"
    assert math.degrees(found.forward.lead_rad) == pytest.approx(-peak_deg, rel=0.15)


@pytest.mark.parametrize("loss_pct", [0.5, 2, 10, 25])
def test_the_moment_of_the_top(loss_pct: float) -> None:
    """Also where the piston presses air back through the restrictor, as on every tight cylinder. Sensors without
    offsets: on a tight cylinder these decide."""
    sweep = simulated(loss_pct, Hand(25, 25, waver=0.0))
    levelled = replace(sweep, supply_pa=sweep.supply_pa - np.median(sweep.supply_pa) + 20 * PSI)
    found = judged(levelled)
    assert isinstance(found, SweepEstimate)
    for one in (found.forward, found.back):
        assert abs(math.degrees(sweep.hand.angle(one.top_s))) < 1.0


def test_uncertainty_by_hand() -> None:
    """20 and 10 deg/s, 0.1 s of lag; every line of the docstring written out, in degrees."""
    alike = [0.2 * 0.1 * 10, 0.10 * 10]
    each = [0.12 * 0.1 * 20, 0.12 * 0.1 * 10, 0.6, 0.6, 0.05 * 20, 0.05 * 10, 0.5, 0.5]
    found = tdc_sweep.uncertainty_rad(math.radians(20), math.radians(10), 0.1)
    assert math.degrees(found) == pytest.approx(math.sqrt(sum(u * u for u in alike + each)) / 2)


class TestNotUsable:
    """It says why, and what to do instead."""

    def test_too_wide_for_the_pressure_of_the_test(self) -> None:
        found = judged(simulated(10, HANDS[1]), math.radians(1.17))
        assert isinstance(found, SweepEstimate) and not found.usable
        assert "1.2 is what the crank bears" in found.reason and tdc_sweep.STOP_OR_DIAL in found.reason

    def test_passes_too_unlike(self) -> None:
        found = judged(simulated(10, Hand(10, 30)))
        assert isinstance(found, SweepEstimate) and "too unlike" in found.reason

    def test_turned_so_fast_that_the_leak_lags(self) -> None:
        found = judged(simulated(25, Hand(60, 60, -45, 45)))
        assert not (isinstance(found, SweepEstimate) and found.usable)

    def test_over_the_top_once_only(self) -> None:
        sweep = simulated(10, Hand())
        rows = slice(0, round((REST_S + 70 / 15 + REST_S) / TICK_S))
        once = replace(sweep, t_s=sweep.t_s[rows], supply_pa=sweep.supply_pa[rows], cylinder_pa=sweep.cylinder_pa[rows])
        assert judged(once) == NotUsable(f"{tdc_sweep.NOT_TWO.format(1)} {tdc_sweep.STOP_OR_DIAL}")

    def test_never_over_the_top(self) -> None:
        still = simulated(10, Hand(start=-35, end=-34.9))
        assert judged(still) == NotUsable(f"{tdc_sweep.NOT_TWO.format(0)} {tdc_sweep.STOP_OR_DIAL}")

    def test_readings_are_missing(self) -> None:
        sweep = simulated(10, Hand())
        late = replace(sweep, t_s=np.where(sweep.t_s > 5, sweep.t_s + 1, sweep.t_s))
        assert judged(late) == NotUsable(f"{tdc_sweep.MISSING} {tdc_sweep.STOP_OR_DIAL}")

    def test_the_regulator_was_turned_meanwhile(self) -> None:
        sweep = simulated(10, Hand())
        risen = replace(sweep, cylinder_pa=sweep.cylinder_pa + np.linspace(0, 2 * PSI, len(sweep.t_s)))
        assert judged(risen) == NotUsable(f"{tdc_sweep.NO_REST} {tdc_sweep.STOP_OR_DIAL}")

    def test_no_air(self) -> None:
        sweep = simulated(10, Hand())
        assert judged(replace(sweep, cylinder_pa=0 * sweep.cylinder_pa)) == NotUsable(
            f"{tdc_sweep.NO_AIR} {tdc_sweep.STOP_OR_DIAL}"
        )

    def test_too_short_to_say_anything(self) -> None:
        nothing = np.zeros(3)
        assert isinstance(two_way_sweep(nothing, nothing, nothing, ENGINE, BENCH, 0.0, 1.0), NotUsable)


def test_the_tone_is_the_same_however_the_rows_come() -> None:
    pressure = simulated(5, Hand()).cylinder_pa
    whole, single = ToneWatch(), ToneWatch()
    tones = whole.feed(pressure)
    assert len(tones) == 2
    assert [tone for row in pressure for tone in single.feed(np.array([row]))] == tones
    assert whole.humps == single.humps


@pytest.mark.parametrize(
    ("fades_s", "deg_s", "bias_deg"),
    [(6.13, 20, 5.98), (6.13, 60, 1.99), (6.13, 180, 0.66), (3.04, 20, 12.0), (1.32, 60, 9.3), (0.78, 180, 5.2)],
)
def test_bias_of_trapped_air_on_one_pass(fades_s: float, deg_s: float, bias_deg: float) -> None:
    """Values worked out beforehand for 107.8 cm3 and leaks of 0.5, 2, 10 and 25 %."""
    found = math.degrees(trapped_bias_rad(ENGINE, 107.8e-6, math.radians(deg_s), fades_s))
    assert found == pytest.approx(bias_deg, rel=0.01)


@pytest.mark.parametrize(("loss_pct", "fades_s"), [(0.5, 6.13), (2, 3.04), (10, 1.32), (25, 0.78)])
def test_time_of_a_leak(loss_pct: float, fades_s: float) -> None:
    """Values worked out beforehand: 107.8 cm3, losses at 100 psi behind 0.040 in."""
    assert leak_time_s(107.8e-6, leak_area_m2(loss_pct), 293.15) == pytest.approx(fades_s, rel=0.01)


@pytest.mark.parametrize(("deg_s", "fades_s"), [(60.0, 20.0), (60.0, 100.0), (180.0, 5.0)])
def test_bias_of_trapped_air_by_integration(deg_s: float, fades_s: float) -> None:
    """Isothermal air of a closed volume: d(p V) = -p V0 dt / tau; where is the peak of p?"""
    angle = np.linspace(-0.5, 0.5, 400_001)
    volume, speed = ENGINE.volume_m3(angle), math.radians(deg_s)
    lost = np.cumsum(volume[200_000] / volume) * (angle[1] - angle[0]) / (speed * fades_s)
    peak = angle[np.argmax(np.exp(-lost) / volume)]
    assert -peak == pytest.approx(trapped_bias_rad(ENGINE, 107.828e-6, speed, fades_s), rel=0.02)
