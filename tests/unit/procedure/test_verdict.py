from __future__ import annotations

import math
from dataclasses import replace

import pytest

from daq.errors import DataError, UsageError
from daq.procedure.verdict import COMMON_PRACTICE, GUARD, Limits, Verdict, ac_43_13_1b, judge, probability
from daq.records import StableReading

INF = math.inf


def reading(loss: float, u: float = 0.3, expanded: float | None = None) -> StableReading:
    return StableReading(
        1, 9.0, 1.0, 7e5, 6e5, loss, u, loss, loss, 0.6, 4e-7, 7e-4, 7e-4, 6e-4, "calibration",
        expanded_u_loss_pct=1.959963984540054 * u if expanded is None else expanded,
    )  # fmt: skip


# ---- words and chances -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("loss", "verdict"),
    [
        (-0.2, Verdict.SOUND),
        (9.4, Verdict.SOUND),
        (9.6, Verdict.TOO_CLOSE),
        (10.4, Verdict.TOO_CLOSE),
        (10.6, Verdict.WATCH),
        (14.4, Verdict.WATCH),
        (14.6, Verdict.TOO_CLOSE),
        (15.6, Verdict.INVESTIGATE),
        (99.0, Verdict.INVESTIGATE),
    ],
)
def test_a_word_is_given_where_it_is_right_in_95_of_100(loss: float, verdict: Verdict) -> None:
    found = judge(reading(loss), COMMON_PRACTICE, cold=False)
    assert found.verdict is verdict
    assert (found.probability >= 0.95) == (verdict is not Verdict.TOO_CLOSE)
    assert found.limits is COMMON_PRACTICE and found.cold is False


@pytest.mark.parametrize("off", [1e-6, -1e-6])
def test_the_guard_band_is_where_the_word_changes(off: float) -> None:
    found = judge(reading(10 - GUARD * 0.3 - off), COMMON_PRACTICE, cold=False)
    assert found.verdict is (Verdict.SOUND if off > 0 else Verdict.TOO_CLOSE)
    assert found.probability == pytest.approx(0.95, abs=1e-5)


def test_on_the_limit_it_is_as_likely_as_not() -> None:
    found = judge(reading(25.0), ac_43_13_1b(0.1), cold=False)
    assert found.verdict is Verdict.TOO_CLOSE and found.probability == pytest.approx(0.5)


def test_one_limit_leaves_nothing_to_watch() -> None:
    words = {judge(reading(loss / 4), ac_43_13_1b(0.1), cold=False).verdict for loss in range(400)}
    assert words == {Verdict.SOUND, Verdict.TOO_CLOSE, Verdict.INVESTIGATE}


def test_an_unpaired_instrument_can_seldom_tell() -> None:
    assert judge(reading(9.4, u=0.58), COMMON_PRACTICE, cold=False).verdict is Verdict.TOO_CLOSE
    assert judge(reading(12.5, u=4.0), COMMON_PRACTICE, cold=False).verdict is Verdict.TOO_CLOSE


def test_few_degrees_of_freedom_widen_the_doubt() -> None:
    assert judge(reading(9.4), COMMON_PRACTICE, cold=False).verdict is Verdict.SOUND
    assert judge(reading(9.4, expanded=0.3 * 4.3), COMMON_PRACTICE, cold=False).verdict is Verdict.TOO_CLOSE
    assert judge(reading(9.4, expanded=math.nan), COMMON_PRACTICE, cold=False).verdict is Verdict.SOUND


def test_a_limit_that_is_uncertain_itself_widens_it_too() -> None:
    doubtful = replace(COMMON_PRACTICE, sound_to=replace(COMMON_PRACTICE.sound_to, u_loss_pct=0.5))
    assert judge(reading(9.4), doubtful, cold=False).verdict is Verdict.TOO_CLOSE


# ---- advice ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("loss", "repeat"),
    [(5.0, False), (9.4, False), (9.7, True), (12.0, True), (15.9, True), (20.9, True), (21.1, False), (60.0, False)],
)
def test_a_cold_result_that_could_change_is_repeated_hot_and_never_corrected(loss: float, repeat: bool) -> None:
    cold, hot = (judge(reading(loss), COMMON_PRACTICE, cold=cold) for cold in (True, False))
    assert ("Repeat hot" in cold.advice) == repeat
    assert (cold.verdict, cold.probability) == (hot.verdict, hot.probability)
    assert "hot" not in hot.advice and cold.cold is True


def test_where_nobody_said_it_is_asked_as_a_condition() -> None:
    found = judge(reading(12.0), COMMON_PRACTICE, cold=None)
    assert "If the engine was cold, repeat hot" in found.advice and found.cold is None


def test_too_close_names_the_limit_and_the_interval() -> None:
    found = judge(reading(10.2), COMMON_PRACTICE, cold=False)
    assert "10.0 %" in found.advice and "15.0 %" not in found.advice and "0.59" in found.advice
    assert "likely watch" in found.advice
    assert "both limits" in judge(reading(12.5, u=1.48), COMMON_PRACTICE, cold=False).advice
    assert "10.0 % and 15.0 %" in judge(reading(12.5, u=2.0), COMMON_PRACTICE, cold=False).advice
    assert judge(reading(25.1), ac_43_13_1b(0.1), cold=False).advice.count("25.0 %") == 1


# ---- the limits ------------------------------------------------------------------------------------------------


def test_the_defaults_say_where_they_come_from() -> None:
    assert "no source" in COMMON_PRACTICE.sound_to.source and "assumed" in COMMON_PRACTICE.investigate_from.source
    assert (COMMON_PRACTICE.sound_to.loss_pct, COMMON_PRACTICE.investigate_from.loss_pct) == (10.0, 15.0)
    assert COMMON_PRACTICE.sound_to.restrictor_diameter_m == pytest.approx(0.001016)
    assert COMMON_PRACTICE.sound_to.set_point_pa == pytest.approx(689_475.7, abs=0.1)


@pytest.mark.parametrize(("bore_in", "restrictor_in"), [(4.99, 0.040), (5.00, 0.060), (5.5, 0.060)])
def test_the_published_restrictor_goes_by_the_bore(bore_in: float, restrictor_in: float) -> None:
    """AC 43.13-1B, change 1: 0.060 in from 5.00 in of bore."""
    limit = ac_43_13_1b(bore_in * 0.0254).sound_to
    assert limit.restrictor_diameter_m == pytest.approx(restrictor_in * 0.0254)
    assert limit.loss_pct == 25.0 and limit.set_point_pa == pytest.approx(80 * 6894.757293168361)


def test_limits_in_the_wrong_order_are_refused() -> None:
    wrong = Limits("wrong", COMMON_PRACTICE.investigate_from, COMMON_PRACTICE.sound_to)
    with pytest.raises(UsageError, match="Exchange the two limits"):
        judge(reading(12.0), wrong, cold=False)


def test_a_reading_without_uncertainty_is_refused() -> None:
    with pytest.raises(DataError, match="no uncertainty"):
        judge(reading(12.0, u=math.nan), COMMON_PRACTICE, cold=False)


@pytest.mark.parametrize(("low", "high", "expected"), [(-INF, 5.0, 1.0), (5.1, INF, 0.0), (5.0, 5.0, 1.0)])
def test_a_value_without_doubt_is_inside_or_not(low: float, high: float, expected: float) -> None:
    assert probability(5.0, 0.0, low, high) == expected
