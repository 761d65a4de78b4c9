"""Conformity with limits. Ref: JCGM 106:2012, and the FAA limit carried to other testers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from daq.measure.calibration import assumed_calibration
from daq.measure.limits import carried
from daq.measure.orifice import CRITICAL_RATIO
from daq.procedure.verdict import GUARD, SURE, Verdict, ac_43_13_1b, judge, probability
from daq.records import Instrument, StableReading

PSI = 6894.757293168361
INSTRUMENT = Instrument(0.001016, 0.8, CRITICAL_RATIO, 101_325.0, 293.15, 80 * PSI, 2 * PSI)


def test_example_7_4() -> None:
    """JCGM 106, 7.4: y = 13.6, u = 1.8, limits 12.5 and 16.3; the probability with scipy is 0.6626297865."""
    found = probability(13.6, 1.8, 12.5, 16.3)
    assert found == pytest.approx(0.6626297865, abs=5e-11)
    assert found == pytest.approx(norm.cdf(16.3, 13.6, 1.8) - norm.cdf(12.5, 13.6, 1.8), rel=1e-12)


@pytest.mark.parametrize(("value", "expected"), [(18.5, 0.994957), (19.5, 0.804452), (20.0, 0.5), (20.8, 0.084999)])
def test_one_upper_limit(value: float, expected: float) -> None:
    """Limit 20 %, u = 0.583; figures computed with scipy."""
    assert probability(value, 0.583, high=20.0) == pytest.approx(expected, abs=6e-7)


def test_the_guard_band_for_5_percent_risk() -> None:
    assert pytest.approx(norm.ppf(SURE), rel=1e-12) == GUARD


def test_the_stated_risk_is_the_risk() -> None:
    """Many true losses about the limit, measured with noise: of the words given, at most 5 % are wrong at any loss."""
    rng, u, limits = np.random.default_rng(106), 0.3, ac_43_13_1b(0.1)
    template = StableReading(1, 9.0, 1.0, 7e5, 6e5, 0.0, u, 0.0, 0.0, 1.0, 7e-7, 9e-4, 8e-4, 7e-4, "calibration")
    given = wrong = 0
    for true in np.linspace(23.5, 26.5, 61):
        for loss in true + u * rng.standard_normal(100):
            verdict = judge(replace(template, loss_at_set_pct=float(loss)), limits, cold=False).verdict
            given += verdict is not Verdict.TOO_CLOSE
            wrong += verdict is (Verdict.SOUND if true > 25 else Verdict.INVESTIGATE)
    assert given > 3000 and wrong / given < 0.02


CARRIED = [
    # restrictor in, supply psi, atmosphere Pa, what 25 % behind 0.040 in at 80 psi reads there
    (0.040, 80, 101_325.0, 25.0),
    (0.040, 100, 101_325.0, 24.22405),
    (0.040, 60, 101_325.0, 26.29326),
    (0.060, 80, 101_325.0, 5.85980),
    (0.060, 100, 101_325.0, 5.67792),
]


@pytest.mark.parametrize(("restrictor_in", "supply_psi", "atmosphere_pa", "expected"), CARRIED)
def test_the_faa_limit_on_other_testers(
    restrictor_in: float, supply_psi: float, atmosphere_pa: float, expected: float
) -> None:
    """AC 43.13-1B's 25 % carried through the area ratio; figures computed with scipy's root finder, five decimals."""
    instrument = replace(
        INSTRUMENT,
        restrictor_diameter_m=restrictor_in * 0.0254,
        set_point_pa=supply_psi * PSI,
        atmosphere_pa=atmosphere_pa,
    )
    found = carried(ac_43_13_1b(0.1).sound_to, instrument, assumed_calibration())
    assert found.loss_pct == pytest.approx(expected, abs=6e-6)


def test_a_limit_is_read_at_the_instruments_own_barometer() -> None:
    """Both testers stand at 84 kPa: 25 % at 80 psi is carried to 100 psi by (1 + pa/100) / (1 + pa/80) of that air."""
    instrument = replace(INSTRUMENT, set_point_pa=100 * PSI, atmosphere_pa=84_000.0)
    found = carried(ac_43_13_1b(0.1).sound_to, instrument, assumed_calibration())
    factor = (1 + 84_000 / (100 * PSI)) / (1 + 84_000 / (80 * PSI))
    assert found.loss_pct == pytest.approx(25 * factor, abs=1e-9)
