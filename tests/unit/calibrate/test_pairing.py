import math
from dataclasses import replace

import numpy as np
import pytest

from daq.calibrate.pairing import change_pa, enough, expanded_loss_pct, flow_suspected, pair, refuse_fall, refuse_flow
from daq.calibrate.plateaus import Plateau
from daq.errors import DataError
from daq.records import Calibration, Instrument

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


def test_what_is_expected_beforehand_counts_like_eight_plateaus(sheets: Calibration) -> None:
    """Ref: JCGM 100, G.4.2: a standard uncertainty known to a quarter has 8 degrees of freedom."""
    expected_pa = 0.08 * 0.75 * PSI
    quiet = pair(on_a_line(20, 60, 100), sheets, SET, 0.0).pairing
    assert quiet.degrees_of_freedom == 9 and quiet.residual_pa == pytest.approx(expected_pa * math.sqrt(8 / 9))
    rough = pair(on_a_line(10, 30, 50, 70, 90, off=0.1), sheets, SET, 0.0)
    rss = sum(r * r for r in rough.residual_pa)
    assert rough.pairing.residual_pa == pytest.approx(math.sqrt((8 * expected_pa**2 + rss) / 11))
    assert rough.pairing.residual_pa > 1.2 * quiet.residual_pa


def test_covariance_is_that_of_a_straight_line(sheets: Calibration) -> None:
    found = pair(on_a_line(20, 60, 100), sheets, SET, 0.0).pairing
    p = np.array([20, 60, 100]) * PSI
    spread = float(((p - p.mean()) ** 2).sum())
    assert found.u_gain == pytest.approx(found.residual_pa / math.sqrt(spread))
    assert found.u_offset_pa == pytest.approx(found.residual_pa * math.sqrt(1 / 3 + p.mean() ** 2 / spread))
    assert found.correlation == pytest.approx(-p.mean() / math.sqrt((p**2).mean()))


def test_the_stated_interval_holds_what_was_hidden(sheets: Calibration) -> None:
    """Monte Carlo, with as much bend and hysteresis as the data sheet leads to expect."""
    rng, inside = np.random.default_rng(7), 0
    for _ in range(400):
        offset, gain = rng.normal(0, 0.4), rng.normal(0, 0.003)
        seen = [plateau(p, offset + gain * p + rng.normal(0, 0.06)) for p in (10, 40, 70, 100)]
        found = pair(seen, sheets, SET, 0.0).pairing
        error_pa = found.offset_pa + found.gain * 90 * PSI - (offset + gain * 90) * PSI
        u2 = found.u_offset_pa**2 + (90 * PSI * found.u_gain) ** 2
        u2 += 2 * found.correlation * found.u_offset_pa * 90 * PSI * found.u_gain
        inside += abs(error_pa) < 2.23 * math.sqrt(u2)
    assert 0.93 <= inside / 400 <= 0.99


def test_what_it_buys(sheets: Calibration) -> None:
    """Two unpaired transducers of class 0.5 % are worth +-1.14 points at 10 %: 1.96 times 0.5826. A pairing makes it
    about +-0.15, and it fades with the days."""
    paired = replace(sheets, pairing=pair(on_a_line(10, 30, 50, 70, 100), sheets, SET, 0.0).pairing)
    assert expanded_loss_pct(sheets, INSTRUMENT, 10, 0.0) == pytest.approx(1.96 * 0.582559, rel=2e-3)
    fresh = expanded_loss_pct(paired, INSTRUMENT, 10, 0.0)
    assert 0.12 < fresh < 0.18
    assert fresh < expanded_loss_pct(paired, INSTRUMENT, 10, 7 * DAY_S) < 0.3
    assert expanded_loss_pct(paired, INSTRUMENT, 10, 60 * DAY_S) > 0.6


def test_calibrated_channels_say_themselves_what_a_line_leaves_beside_their_hysteresis(sheets: Calibration) -> None:
    channel = replace(sheets.supply, u_zero_pa=50.0, hysteresis_pa=600.0, nonlinearity_pa=200.0)
    calibrated = replace(sheets, supply=channel, cylinder=channel)
    found = pair(on_a_line(20, 60, 100), calibrated, SET, 0.0).pairing
    assert found.residual_pa == pytest.approx(math.sqrt(2 * 200**2 / 3 * 8 / 9))


def test_coarse_counts_are_in_what_is_left(sheets: Calibration) -> None:
    fine, coarse = (pair(on_a_line(20, 60, 100), sheets, SET, 0.0, count).pairing for count in (0.0, 0.18 * PSI))
    assert coarse.residual_pa**2 - fine.residual_pa**2 == pytest.approx((0.18 * PSI) ** 2 / 6 * 8 / 9)


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
