import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from daq.calibrate.pairing import change_pa, enough, expanded_loss_pct, flow_suspected, pair, refuse_fall, refuse_flow
from daq.calibrate.plateaus import Plateau
from daq.errors import DataError
from daq.records import Calibration, Instrument, Pairing

PSI = 6894.757293168361
SET = 100 * PSI
DAY_S = 86400.0
INSTRUMENT = Instrument(0.001016, 0.8, 0.5283, 101_325.0, 293.15, SET, 2 * PSI)


def plateau(psi: float, difference_psi: float) -> Plateau:
    return Plateau(0.0, psi * PSI, (psi + difference_psi) * PSI, 0.004 * PSI)


def on_a_line(*pressures: float, offset: float = 0.4, gain: float = 0.003, off: float = 0.0) -> list[Plateau]:
    """`off` psi to and fro about the line."""
    return [plateau(p, offset + gain * p + (off if n % 2 else -off)) for n, p in enumerate(pressures)]


def test_offset_and_gain_of_the_difference(sheets: Calibration) -> None:
    found = pair(on_a_line(20, 60, 100), sheets, SET, 5.0).pairing
    assert found.offset_pa == pytest.approx(0.4 * PSI) and found.gain == pytest.approx(0.003)
    assert (found.lowest_pa, found.highest_pa) == pytest.approx((20 * PSI, 100 * PSI))
    assert found.made_s == 5.0 and found.pairing_id == ""


def bends(pressures_psi: Sequence[float], bow_psi: float) -> np.ndarray:
    """What a bow of this height, a parabola over 150 psi, leaves about the best line through these pressures."""
    p = np.array(pressures_psi)
    curve = 4 * bow_psi * (p / 150) * (1 - p / 150)
    return curve - np.polyval(np.polyfit(p, curve, 1), p)


def test_what_is_expected_beforehand_counts_like_eight_plateaus(sheets: Calibration) -> None:
    """Ref: JCGM 100, G.4.2: a standard uncertainty known to a quarter has 8 degrees of freedom. Expected is the bow of
    both channels, each anywhere up to half of the class."""
    expected_psi = np.sqrt(np.mean(bends((20, 60, 100), math.sqrt(2) * 0.5 * 0.75 / math.sqrt(3)) ** 2))
    quiet = pair(on_a_line(20, 60, 100), sheets, SET, 0.0).pairing
    assert quiet.degrees_of_freedom == 9
    assert quiet.residual_pa == pytest.approx(expected_psi * PSI * math.sqrt(8 / 9), rel=1e-6)
    rough = pair(on_a_line(10, 30, 50, 70, 90, off=0.06), sheets, SET, 0.0).pairing
    smooth = pair(on_a_line(10, 30, 50, 70, 90), sheets, SET, 0.0).pairing
    assert rough.degrees_of_freedom == smooth.degrees_of_freedom == 11
    assert rough.residual_pa > 1.2 * smooth.residual_pa
    assert rough.u_gain / smooth.u_gain == pytest.approx(rough.residual_pa / smooth.residual_pa)


def test_covariance_is_that_of_a_straight_line(sheets: Calibration) -> None:
    """Where each plateau has its own error alone: here the steps of a coarse converter."""
    sharp = replace(sheets.supply, accuracy_pa=1.0)
    found = pair(on_a_line(20, 60, 100), replace(sheets, supply=sharp, cylinder=sharp), SET, 0.0, PSI).pairing
    p = np.array([20, 60, 100]) * PSI
    spread, sd_pa = float(((p - p.mean()) ** 2).sum()), PSI / math.sqrt(6) * math.sqrt(8 / 9)
    assert found.u_gain == pytest.approx(sd_pa / math.sqrt(spread), rel=1e-3)
    assert found.u_offset_pa == pytest.approx(sd_pa * math.sqrt(1 / 3 + p.mean() ** 2 / spread), rel=1e-3)
    assert found.correlation == pytest.approx(-p.mean() / math.sqrt((p**2).mean()), rel=1e-3)


ROUNDS = {"up": (25, 50, 75, 100), "down": (100, 75, 50, 25), "up and down": (25, 75, 100, 50)}


def transducers(rng: np.random.Generator) -> tuple[Callable[[float, bool], float], float]:
    """The difference of two good ones of class 0.75 psi on either branch, and their noise; within what is stated."""
    offset, gain = rng.uniform(-0.7, 0.7), rng.uniform(-0.004, 0.004)
    step, bow = (0.15 * np.diff(rng.uniform(0, 1, 2))[0], 0.375 * rng.uniform(-1, 1, 2).sum())
    return lambda p, fallen: offset + gain * p + step * fallen + 4 * bow * (p / 150) * (1 - p / 150), 0.004


def paired_round(rng: np.random.Generator, way: str, sheets: Calibration) -> tuple[Pairing, Callable]:
    """What a round of levels gives; each is reached from the one before, the first from nothing."""
    difference, noise = transducers(rng)
    levels = ROUNDS[way]
    fallen = [False, *(after < before for before, after in pairwise(levels))]
    seen = [plateau(p, difference(p, down) + rng.normal(0, noise)) for p, down in zip(levels, fallen, strict=True)]
    return pair(seen, sheets, SET, 0.0).pairing, difference


@pytest.mark.parametrize("way", ROUNDS)
def test_good_transducers_are_never_refused_and_the_interval_holds_what_was_hidden(
    way: str, sheets: Calibration
) -> None:
    """Monte Carlo, with bow and hysteresis drawn over all of what is stated of them, in rounds either way. The line is
    that of rising pressure."""
    rng, inside, at = np.random.default_rng(7), 0, 90.0
    for _ in range(1000):
        found, difference = paired_round(rng, way, sheets)
        error_pa = found.offset_pa + found.gain * at * PSI - difference(at, False) * PSI
        u2 = found.u_offset_pa**2 + (at * PSI * found.u_gain) ** 2 + found.residual_pa**2
        u2 += 2 * found.correlation * found.u_offset_pa * at * PSI * found.u_gain
        inside += abs(error_pa) < 2.23 * math.sqrt(u2)
    assert inside / 1000 >= 0.94


def test_a_round_that_only_falls_says_less(sheets: Calibration) -> None:
    """All but the first plateau are off by the hysteresis of both, and nothing tells how much that is."""
    up, down = (pair(on_a_line(*ROUNDS[way]), sheets, SET, 0.0).pairing for way in ("up", "down"))
    assert down.u_offset_pa > 1.5 * up.u_offset_pa
    quiet = replace(sheets.supply, u_zero_pa=50.0, nonlinearity_pa=100.0, hysteresis_pa=0.0)
    known = replace(sheets, supply=quiet, cylinder=quiet)
    up, down = (pair(on_a_line(*ROUNDS[way]), known, SET, 0.0).pairing for way in ("up", "down"))
    assert down.u_offset_pa == pytest.approx(up.u_offset_pa, rel=1e-6)


def test_a_step_between_up_and_down_is_allowed_as_far_as_the_hysteresis_goes(sheets: Calibration) -> None:
    """Two thirds of a class apart is no hysteresis; a tenth of a class is."""
    levels = (20, 40, 60, 80, 100, 90, 70, 50, 30)

    def turned(step_psi: float) -> list[Plateau]:
        return [plateau(p, 0.4 + 0.003 * p + step_psi * (n > 4)) for n, p in enumerate(levels)]

    assert pair(turned(0.075), sheets, SET, 0.0).pairing.gain == pytest.approx(0.003, abs=3e-4)
    with pytest.raises(DataError, match="contradict"):
        pair(turned(0.5), sheets, SET, 0.0)


def test_what_it_buys(sheets: Calibration) -> None:
    """Two unpaired transducers of class 0.5 % are worth +-1.11 points at 10 %: 1.90 times 0.5826. A pairing makes it
    about +-0.15, and it fades with the days."""
    paired = replace(sheets, pairing=pair(on_a_line(10, 30, 50, 70, 100), sheets, SET, 0.0).pairing)
    assert expanded_loss_pct(sheets, INSTRUMENT, 10, 0.0) == pytest.approx(1.90 * 0.582559, rel=2e-3)
    fresh = expanded_loss_pct(paired, INSTRUMENT, 10, 0.0)
    assert 0.12 < fresh < 0.18
    assert fresh < expanded_loss_pct(paired, INSTRUMENT, 10, 7 * DAY_S) < 0.3
    assert expanded_loss_pct(paired, INSTRUMENT, 10, 60 * DAY_S) > 0.6


def test_calibrated_channels_say_themselves_how_far_they_bend(sheets: Calibration) -> None:
    """The greatest residual about the best line is two thirds of the height of a parabola over that range."""
    channel = replace(sheets.supply, u_zero_pa=50.0, hysteresis_pa=0.0, nonlinearity_pa=0.2 * PSI)
    calibrated = replace(sheets, supply=channel, cylinder=channel)
    found = pair(on_a_line(20, 60, 100), calibrated, SET, 0.0).pairing
    expected_psi = np.sqrt(np.mean(bends((20, 60, 100), math.sqrt(2) * 1.5 * 0.2 * 1.5**2) ** 2))  # over 100 psi
    assert found.residual_pa == pytest.approx(expected_psi * PSI * math.sqrt(8 / 9), rel=1e-6)


def test_coarse_counts_make_the_line_uncertain_and_are_not_left_beside_it(sheets: Calibration) -> None:
    """A reading has its own resolution in its budget."""
    fine, coarse = (pair(on_a_line(20, 60, 100), sheets, SET, 0.0, count).pairing for count in (0.0, 0.18 * PSI))
    assert coarse.u_gain > 1.5 * fine.u_gain
    assert coarse.residual_pa == pytest.approx(fine.residual_pa)


# ---- beside the pairing before


def test_drift_is_as_usual_or_as_seen(sheets: Calibration) -> None:
    usual_pa = 150 * PSI * 1e-4
    first = pair(on_a_line(20, 60, 100), sheets, SET, 0.0).pairing
    moved = on_a_line(20, 60, 100, offset=0.6)
    assert first.drift_pa_per_day == pytest.approx(usual_pa)
    after_two_days = pair(moved, sheets, SET, 2 * DAY_S, previous=first).pairing
    assert after_two_days.drift_pa_per_day == pytest.approx(0.1 * PSI, rel=1e-6)
    after_a_year = pair(moved, sheets, SET, 365 * DAY_S, previous=first).pairing
    assert after_a_year.drift_pa_per_day == pytest.approx(usual_pa)
    at_once = pair(moved, sheets, SET, 60.0, previous=first).pairing
    assert at_once.drift_pa_per_day == pytest.approx(usual_pa)
    assert change_pa(first, after_two_days.offset_pa, after_two_days.gain, SET) == pytest.approx(0.2 * PSI, rel=1e-6)


# ---- when it is enough


@pytest.mark.parametrize(
    ("pressures", "is_enough"), [((20, 60), False), ((60, 80, 100), False), ((49, 60, 100), True), ((0, 25, 50), True)]
)
def test_three_plateaus_over_half_the_range(pressures: tuple[float, ...], is_enough: bool, sheets: Calibration) -> None:
    plateaus = on_a_line(*pressures)
    assert enough(plateaus, SET) == is_enough
    if not is_enough:
        with pytest.raises(DataError, match="too few to pair"):
            pair(plateaus, sheets, SET, 0.0)


def test_more_may_be_asked_for_never_fewer() -> None:
    assert not enough(on_a_line(20, 60, 100), SET, fewest=4)
    assert not enough(on_a_line(20, 100), SET, fewest=2)


# ---- what cannot be


def test_plateaus_that_contradict_each_other(sheets: Calibration) -> None:
    bent = [*on_a_line(20, 40, 60, 80), plateau(100, 1.5)]
    with pytest.raises(DataError, match="contradicts the others") as refused:
        pair(bent, sheets, SET, 0.0)
    assert "stays" in refused.value.todo and "689476 Pa" in refused.value.what


def test_three_plateaus_can_contradict_each_other(sheets: Calibration) -> None:
    with pytest.raises(DataError, match="contradicts"):
        pair([plateau(20, 0.4), plateau(60, 1.2), plateau(100, 0.4)], sheets, SET, 0.0)


@pytest.mark.parametrize(
    ("difference_psi", "words"), [(-2.2, ""), (2.2, ""), (-2.3, "air flows"), (2.3, "are they swapped")]
)
def test_a_difference_beyond_both_data_sheets_is_a_flow(difference_psi: float, words: str, sheets: Calibration) -> None:
    """1.5 times what two classes of 0.75 psi allow: 2.25 psi."""
    suspicion = flow_suspected(plateau(60, difference_psi), sheets)
    assert (words in suspicion) if words else suspicion == ""


def test_an_outlet_that_is_not_blocked_is_refused_at_the_second_pressure() -> None:
    refuse_flow([plateau(100, -100)])
    with pytest.raises(DataError, match="grows with the pressure, as a flow does") as refused:
        refuse_flow([plateau(40, -4), plateau(100, -10)])
    assert "soapy water" in refused.value.todo and "stays" in refused.value.todo


def test_a_pressure_that_falls_by_itself_is_refused() -> None:
    refuse_fall(0.0)
    with pytest.raises(DataError, match="falls by itself"):
        refuse_fall(500.0)
