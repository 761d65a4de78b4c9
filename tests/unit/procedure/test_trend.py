from __future__ import annotations

import math

import numpy as np
import pytest

from daq.errors import DataError
from daq.procedure import wording
from daq.procedure.monotone import sen_slope
from daq.procedure.trend import (
    Axis,
    Changed,
    Direction,
    Forecasted,
    Point,
    Quantity,
    Trend,
    limit_area_ratio,
    trend,
)
from daq.procedure.verdict import ac_43_13_1b

HOUR, YEAR = 3600.0, 365.25 * 86_400.0
RISING = [0.50, 0.52, 0.51, 0.55, 0.57, 0.56, 0.60, 0.62]


def history(values: list[float], u: float = 0.005, limit: float | None = None, cold: list[bool] | None = None) -> Trend:
    """A test each 100 hours."""
    states = cold or [False] * len(values)
    points = [Point(100 * HOUR * i, v, u, c) for i, (v, c) in enumerate(zip(values, states, strict=True))]
    return trend(points, Axis.HOURS, Quantity.AREA_RATIO, limit)


# ---- trend -----------------------------------------------------------------------------------------------------


def test_a_rising_and_a_falling_series() -> None:
    rising, falling = history(RISING), history(RISING[::-1])
    assert rising.direction is Direction.RISING and falling.direction is Direction.FALLING
    assert rising.slope is not None and rising.slope.slope * 100 * HOUR == pytest.approx(0.0175, abs=0.001)
    assert rising.sentences[0].startswith("It leaks more and more: +0.017 in 100 hours")


def test_noise_is_no_trend_and_says_how_often_chance_does_it() -> None:
    found = history([0.50, 0.53, 0.49, 0.52, 0.50, 0.51])
    assert found.direction is Direction.NONE and found.test.p > 0.05
    assert f"chance in {100 * found.test.p:.1f} % of" in found.sentences[0]
    assert "chance in less than 0.1 %" in history([0.1 * i for i in range(12)]).sentences[0]


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_four_readings_are_too_few_however_they_rise(n: int) -> None:
    found = history([0.1 * i + 0.1 for i in range(n)], limit=5.0)
    assert found.direction is Direction.TOO_FEW and found.forecast is not None
    assert found.forecast.word is Forecasted.NO_TREND


def test_the_order_of_the_points_does_not_matter() -> None:
    points = [Point(i * HOUR, v, 0.005) for i, v in enumerate(RISING)]
    assert trend(points, Axis.HOURS, Quantity.AREA_RATIO) == trend(points[::-1], Axis.HOURS, Quantity.AREA_RATIO)


def test_two_tests_at_the_same_hour_are_no_pair() -> None:
    points = [Point(x * HOUR, v, 0.005) for x, v in zip([0, 1, 1, 2, 3, 4], RISING, strict=False)]
    found = trend(points, Axis.HOURS, Quantity.AREA_RATIO)
    assert not found.test.exact and found.test.s == 13 - 1
    assert trend(points[:5], Axis.HOURS, Quantity.AREA_RATIO).direction is Direction.TOO_FEW
    assert sen_slope([1.0, 1.0], [0.1, 0.2]) is None


def test_cold_readings_are_left_out_where_there_are_others() -> None:
    mixed = history([*RISING, 0.95], cold=[False] * 8 + [True])
    assert mixed.left_out == 1 and len(mixed.points) == 8 and "cold" in mixed.sentences[0]
    only = history(RISING, cold=[True] * 8)
    assert only.left_out == 0 and only.sentences[0] == wording.ONLY_COLD


# ---- change ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("last", "u", "word"),
    [(0.56, 0.01, Changed.HIGHER), (0.44, 0.01, Changed.LOWER), (0.56, 0.03, Changed.SAME), (0.50, 0.01, Changed.SAME)],
)
def test_a_change_is_told_where_both_uncertainties_allow_it(last: float, u: float, word: Changed) -> None:
    found = history([0.9, 0.50, last], u=u).change
    assert found.word is word and found.u_change == pytest.approx(u * 2**0.5)
    assert (found.probability > 0.975) is (word is not Changed.SAME)


def test_the_first_has_nothing_to_compare_with() -> None:
    found = history([0.5])
    assert found.change.word is Changed.FIRST and math.isnan(found.change.change)
    assert found.sentences[-1] == wording.CHANGE["first"]


def test_what_could_not_be_seen_is_said() -> None:
    assert "less than 0.028" in history([0.50, 0.50], u=0.01).sentences[-1]


# ---- forecast --------------------------------------------------------------------------------------------------


def test_a_limit_ahead_is_told_with_its_interval() -> None:
    values = [0.5 + 0.02 * i for i in range(12)]
    found = history(values, u=0.004, limit=0.80).forecast
    assert found is not None and found.word is Forecasted.TOLD
    assert found.at == pytest.approx(1500 * HOUR) and found.early is not None and found.late is not None
    assert 1100 * HOUR <= found.early < found.at < found.late <= 2200 * HOUR


@pytest.mark.parametrize(
    ("values", "limit", "word"),
    [
        (RISING, 0.625, Forecasted.ALREADY),
        ([*RISING[:-1], 0.58], 0.595, Forecasted.ALREADY),
        (RISING, 2.0, Forecasted.TOO_FAR),
        (RISING, 0.73, Forecasted.OPEN_ENDED),
        (RISING[::-1], 0.8, Forecasted.NO_TREND),
        ([0.50, 0.53, 0.49, 0.52, 0.50, 0.51], 0.8, Forecasted.NO_TREND),
    ],
)
def test_else_it_says_why_not(values: list[float], limit: float, word: Forecasted) -> None:
    found = history(values, limit=limit)
    assert found.forecast is not None and found.forecast.word is word
    assert found.sentences[-1].startswith(wording.FORECAST[word.value].partition("{")[0])
    assert (found.forecast.late is None) and ((found.forecast.at is None) is (word is not Forecasted.OPEN_ENDED))


def test_the_interval_holds_the_true_time_as_often_as_stated() -> None:
    """Fifteen readings about a straight line, each with its own error and all with one in common; fixed seed."""
    rng, x, u = np.random.default_rng(10), np.arange(15.0), 0.01
    told = held = 0
    for _ in range(400):
        true_slope = rng.uniform(0.008, 0.015)
        when = (0.72 - 0.5) / true_slope
        errors = rng.normal(0, u / 2**0.5) + rng.normal(0, u / 2**0.5, 15)
        values = 0.5 + true_slope * x + errors
        points = [Point(float(t), float(v), u) for t, v in zip(x, values, strict=True)]
        found = trend(points, Axis.HOURS, Quantity.AREA_RATIO, 0.72).forecast
        assert found is not None
        if found.word is Forecasted.TOLD:
            assert found.early is not None and found.late is not None
            told, held = told + 1, held + (found.early <= when <= found.late)
    assert told > 200 and held / told > 0.95 - 4 * (0.05 * 0.95 / told) ** 0.5


# ---- where it comes from and how it is said --------------------------------------------------------------------


def test_the_published_limit_as_an_area_ratio() -> None:
    """25 % at 80 psi is a leak of 1.0586 times the restrictor, effective areas; computed with scipy."""
    assert limit_area_ratio(ac_43_13_1b(0.1).sound_to, 101_325.0) == pytest.approx(1.0586, abs=5e-5)


def test_dates_areas_and_distances_in_words() -> None:
    points = [Point(1.6e9 + YEAR * i, 4e-7 + 2e-8 * i, 4e-9) for i in range(12)]
    dated = trend(points, Axis.DATE, Quantity.LEAK_AREA, 7e-7)
    assert "+0.020 mm2 a year" in dated.sentences[0] and "2035-09-1" in dated.sentences[-1]
    far = trend([Point(1e7 * i, 0.5 + 0.02 * i, 0.004) for i in range(12)], Axis.DISTANCE, Quantity.AREA_RATIO, 0.8)
    assert "in 10,000 km" in far.sentences[0] and "150,000 km" in far.sentences[-1]


@pytest.mark.parametrize("points", [[], [Point(0.0, 0.5, math.nan)], [Point(0.0, math.nan, 0.1)]])
def test_nothing_and_readings_without_uncertainty_are_refused(points: list[Point]) -> None:
    with pytest.raises(DataError):
        trend(points, Axis.HOURS, Quantity.AREA_RATIO)


def test_every_word_has_a_sentence() -> None:
    assert set(wording.TREND) == {word.value for word in Direction}
    assert set(wording.CHANGE) == {word.value for word in Changed}
    assert set(wording.FORECAST) == {word.value for word in Forecasted}
    assert set(wording.PLAIN) == set(wording.SIGNED) == {quantity.value for quantity in Quantity}
