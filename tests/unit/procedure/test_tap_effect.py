"""What a difference is worth: the verdict follows from the change and its own uncertainty."""

from __future__ import annotations

import pytest
from scipy.stats import norm

from daq.measure.budget import WINDOW_ALONE
from daq.procedure.tap_effect import MATTERS_PCT, SURE, tap_effect
from daq.records import Contribution, StableReading, TapVerdict

WINDOW = WINDOW_ALONE if isinstance(WINDOW_ALONE, str) else WINDOW_ALONE[0]


def reading(loss_pct: float, noise_pct: float, calibration: str = "c") -> StableReading:
    """A great common error of the sensors, and a noise of the window of `noise_pct`."""
    budget = (
        Contribution("common error", 0.6, "%", 1.0, float("inf")),
        Contribution(f"noise{WINDOW}", noise_pct, "%", 1.0, float("inf")),
    )
    return StableReading(
        1, 3.0, 1.5, 6.9e5, 6e5, loss_pct, 0.6, loss_pct, loss_pct, 0.6, 1e-6, 1e-3, 1e-3, 1e-3, calibration, 2,
        "after-tap", budget=budget,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("after_pct", "noise_pct", "verdict"),
    [
        (9.0, 0.02, TapVerdict.IMPROVED),
        (9.5, 0.05, TapVerdict.IMPROVED),
        (10.0, 0.05, TapVerdict.NO_CHANGE),
        (10.1, 0.02, TapVerdict.NO_CHANGE),
        (10.6, 0.05, TapVerdict.WORSE),
        (9.75, 0.05, TapVerdict.CANNOT_TELL),
        (9.0, 1.0, TapVerdict.CANNOT_TELL),
    ],
)
def test_the_word_follows_from_change_and_uncertainty(after_pct: float, noise_pct: float, verdict: TapVerdict) -> None:
    effect = tap_effect(reading(10.0, noise_pct), reading(after_pct, noise_pct), 2)
    assert effect.verdict is verdict
    assert (effect.probability >= SURE) is (verdict is not TapVerdict.CANNOT_TELL)
    assert (effect.taps, effect.cylinder, effect.change_pct) == (2, 2, pytest.approx(after_pct - 10.0))


def test_the_probability_is_the_integral_over_the_interval() -> None:
    """Against scipy's normal distribution. Ref: JCGM 106, 7: probability of conformity."""
    effect = tap_effect(reading(10.0, 0.1), reading(9.5, 0.1), 1)
    assert effect.u_change_pct == pytest.approx(0.1 * 2**0.5)
    expected = norm.cdf(-MATTERS_PCT, loc=-0.5, scale=0.1 * 2**0.5)
    assert effect.probability == pytest.approx(expected, rel=1e-9)


def test_errors_that_are_common_cancel_and_do_not_with_another_calibration() -> None:
    same = tap_effect(reading(10.0, 0.02), reading(9.0, 0.02), 1)
    other = tap_effect(reading(10.0, 0.02), reading(9.0, 0.02, "d"), 1)
    assert same.u_change_pct < 0.05 < 0.8 < other.u_change_pct
