"""The leak behind a restrictor against published procedures and against figures computed apart from this code.

AC 43.13-1B is the FAA's Acceptable Methods, Techniques and Practices, chapter 8: 80 psi supply, a restrictor of
0.040 in for a bore below 5.00 in and 0.060 in from there on, 60/80 (25 %) the limit to suspect a cylinder.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from daq.measure import leakage, orifice
from daq.measure.calibration import assumed_calibration
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow
from daq.records import Instrument

PSI = 6894.757293168361
ATMOSPHERE = 101_325.0


def nozzle(ratio: float) -> float:
    """Flow over choked flow; textbook isentropic relation with gamma = 1.4, no patch near equal pressures."""
    b = (2 / 2.4) ** 3.5
    if ratio <= b:
        return 1.0
    return math.sqrt((ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)) / (b ** (2 / 1.4) - b ** (2.4 / 1.4)))


def balance(cylinder: float, supply: float, k: float, atmosphere: float = ATMOSPHERE) -> float:
    """Inflow less outflow, in absolute pressures; zero in the steady state."""
    return supply * nozzle(cylinder / supply) - k * cylinder * nozzle(atmosphere / cylinder)


def test_the_faa_limit_is_25_percent() -> None:
    """AC 43.13-1B 8-14: 60/80 is the limit; 'a loss in excess of 25 percent' says the same in percent."""
    assert float(leakage.loss_pct(80 * PSI, 60 * PSI)) == pytest.approx(25, abs=1e-12)


def test_the_published_restrictor_and_pressure() -> None:
    """AC 43.13-1B 8-14, change 1: 0.040 in and 80 psi; the coefficient 0.8 is this project's convention."""
    bore_m = math.sqrt(leakage.PUBLISHED_RESTRICTOR.effective_area_m2 / 0.8 * 4 / math.pi)
    assert bore_m / 0.0254 == pytest.approx(0.040, rel=1e-12)
    assert pytest.approx(80, rel=1e-12) == leakage.PUBLISHED_SUPPLY_PA / PSI


def test_the_restrictor_for_large_bores_reads_the_same_leak_as_much_less() -> None:
    """The two restrictors of AC 43.13-1B: what reads 25 % behind 0.040 in reads 5.9 % behind 0.060 in."""
    area = leakage.PUBLISHED_RESTRICTOR.effective_area_m2
    k = leakage.area_ratio(80 * PSI + ATMOSPHERE, 60 * PSI + ATMOSPHERE, ATMOSPHERE)
    assert leakage.reference_loss_pct(k * area) == pytest.approx(25, abs=1e-9)
    wide = leakage.loss_from_area_ratio(k * (0.040 / 0.060) ** 2, 80 * PSI, ATMOSPHERE)
    assert float(wide) == pytest.approx(5.85980, abs=5e-6)


AREA_TABLE = [
    # supply psi, loss %, area ratio, effective leak area mm2, equivalent diameter mm (Cd 1), leak flow g/s
    (80, 1, 0.190583, 0.123609, 0.39672, 0.188892),
    (80, 5, 0.433058, 0.280875, 0.59801, 0.414588),
    (80, 10, 0.625326, 0.405577, 0.71861, 0.572253),
    (80, 25, 1.058556, 0.686564, 0.93497, 0.834630),
    (80, 50, 1.722016, 1.116875, 1.19250, 0.994203),
    (80, 60, 2.027926, 1.315284, 1.29409, 0.999572),
    (80, 80, 3.084966, 2.000864, 1.59611, 0.999572),
    (80, 90, 4.310234, 2.795555, 1.88664, 0.999572),
    (80, 95, 6.038417, 3.916430, 2.23306, 0.999572),
    (100, 2, 0.274967, 0.178339, 0.47652, 0.327093),
    (100, 10, 0.636130, 0.412585, 0.72479, 0.703005),
    (100, 30, 1.213829, 0.787272, 1.00119, 1.085183),
    (100, 70, 2.566137, 1.664360, 1.45572, 1.210684),
    (100, 90, 4.690713, 3.042329, 1.96815, 1.210684),
]


@pytest.mark.parametrize(("supply_psi", "loss", "k", "area_mm2", "diameter_mm", "flow_g_s"), AREA_TABLE)
def test_leak_areas_computed_with_scipy(supply_psi, loss, k, area_mm2, diameter_mm, flow_g_s) -> None:
    """Both choked, restrictor unchoked, leak unchoked; 0.040 in, coefficient 0.8, 293.15 K. Figures of six digits."""
    instrument = Instrument(
        0.001016, 0.8, orifice.CRITICAL_RATIO, ATMOSPHERE, 293.15, supply_psi * PSI, supply_band_pa=PSI
    )
    window = StableWindow(0, 0.0, 1.0, 20, supply_psi * PSI, supply_psi * PSI * (1 - loss / 100), 0.0, 0.0)
    found = stable_reading(window, instrument, assumed_calibration(), at_s=0.0, resolution_pa=0.0)
    assert found.area_ratio == pytest.approx(k, abs=6e-7)
    assert found.leak_area_m2 * 1e6 == pytest.approx(area_mm2, abs=6e-7)
    assert found.leak_diameter_m * 1e3 == pytest.approx(diameter_mm, abs=6e-6)
    assert found.flow_kg_s * 1e3 == pytest.approx(flow_g_s, abs=6e-7)


@pytest.mark.parametrize("k", [0.15, 0.2, 0.6, 1.0, 1.9, 2.2, 3.5, 5.0, 12.0])
@pytest.mark.parametrize("supply_psi", [5.0, 12.0, 80.0, 150.0])
def test_the_steady_state_against_scipy(supply_psi: float, k: float) -> None:
    """Inverse of the area ratio in every regime, against scipy's root of the mass balance."""
    supply = supply_psi * PSI + ATMOSPHERE
    cylinder = brentq(balance, ATMOSPHERE * (1 + 1e-12), supply * 0.999, args=(supply, k), xtol=1e-9, rtol=1e-15)
    expected = 100 * (supply - cylinder) / (supply - ATMOSPHERE)
    assert float(leakage.loss_from_area_ratio(k, supply_psi * PSI, ATMOSPHERE)) == pytest.approx(expected, abs=1e-8)


CONVERSIONS = [
    # 0.040 in at 80 psi; 0.040 at 100; 0.060 at 80; 0.060 at 100; 0.040 at 60; 0.040 at 80 psi with 84.0 kPa outside
    (1, 0.96896, 0.19878, 0.19261, 1.05173, 0.97346),
    (3, 2.90689, 0.60400, 0.58525, 3.15519, 2.92039),
    (5, 4.84481, 1.01974, 0.98809, 5.25865, 4.86732),
    (10, 9.68962, 2.10794, 2.04252, 10.51730, 9.73465),
    (20, 19.37924, 4.51919, 4.37892, 21.03461, 19.46930),
    (25, 24.22405, 5.85980, 5.67792, 26.29326, 24.33662),
    (60, 58.13771, 19.15645, 18.56186, 63.10382, 58.40789),
]


@pytest.mark.parametrize("row", CONVERSIONS)
def test_readings_of_other_testers_of_the_same_leak(row: tuple[float, ...]) -> None:
    """Figures computed with scipy's root finder; five decimals."""
    loss, at_100, wide_80, wide_100, at_60, high_80 = row
    k = leakage.area_ratio(80 * PSI + ATMOSPHERE, 80 * PSI * (1 - loss / 100) + ATMOSPHERE, ATMOSPHERE)
    wide = k * (0.040 / 0.060) ** 2
    cases = ((k, 100, at_100), (wide, 80, wide_80), (wide, 100, wide_100), (k, 60, at_60))
    for ratio, supply_psi, expected in cases:
        found = leakage.loss_from_area_ratio(ratio, supply_psi * PSI, ATMOSPHERE)
        assert float(found) == pytest.approx(expected, abs=6e-6)
    assert float(leakage.loss_from_area_ratio(k, 80 * PSI, 84_000)) == pytest.approx(high_80, abs=6e-6)
    for supply_psi, expected in ((100, at_100), (60, at_60)):
        carried = leakage.loss_at_set(loss, 80 * PSI, supply_psi * PSI, ATMOSPHERE)
        assert float(carried) == pytest.approx(expected, abs=6e-6)


@pytest.mark.parametrize(("off_psi", "shown"), [(0.0, 10.0), (-2.0, 10.0261)])
def test_a_droop_of_the_regulator_is_carried_away(off_psi: float, shown: float) -> None:
    """A cylinder of 10 % at 100 psi reads 10.0261 % at 98 psi (scipy), and 10 % again at the set point."""
    supply = (100 + off_psi) * PSI + ATMOSPHERE
    k = float(leakage.area_ratio(100 * PSI + ATMOSPHERE, 90 * PSI + ATMOSPHERE, ATMOSPHERE))
    cylinder = brentq(balance, ATMOSPHERE * 1.01, supply * 0.999, args=(supply, k), rtol=1e-14)
    loss = 100 * (supply - cylinder) / (supply - ATMOSPHERE)
    assert loss == pytest.approx(shown, abs=5e-5)
    carried = leakage.loss_at_set(loss, supply - ATMOSPHERE, 100 * PSI, ATMOSPHERE)
    assert float(carried) == pytest.approx(10, abs=1e-9)


@pytest.mark.parametrize(("supply_psi", "loss", "iso_loss"), [(80, 25, 25.0636), (100, 10, 10.0459), (80, 5, 5.0268)])
def test_iso_6358_gives_nearly_the_same_loss(supply_psi: float, loss: float, iso_loss: float) -> None:
    """ISO 6358-1's ellipse has a closed inverse while the leak is choked: the same k gives nearly the same loss."""
    supply = supply_psi * PSI + ATMOSPHERE
    k = float(leakage.area_ratio(supply, supply_psi * PSI * (1 - loss / 100) + ATMOSPHERE, ATMOSPHERE))
    b = orifice.CRITICAL_RATIO
    a = k * k * (1 - b) ** 2 + 1
    ratio = (b + math.sqrt(b * b - a * (2 * b - 1))) / a
    found = 100 * (supply - ratio * supply) / (supply - ATMOSPHERE)
    assert found == pytest.approx(iso_loss, abs=6e-5)
    assert orifice.iso6358_flow_function(ratio, b) / ratio == pytest.approx(k, rel=1e-12)


def test_volume_flow_at_the_reference_atmosphere() -> None:
    """ISO 8778 (ANR), density 1.185 kg/m3 from memory: 1 g/s is 50.6329 L/min."""
    assert float(leakage.anr_flow(1e-3)) * 60e3 == pytest.approx(50.6329, abs=5e-5)


def test_the_regimes_begin_where_theory_says() -> None:
    """At 80 psi the restrictor chokes below 35.3302 psi and the leak unchokes below 13.1224 psi."""
    b = orifice.CRITICAL_RATIO
    assert (b * (80 * PSI + ATMOSPHERE) - ATMOSPHERE) / PSI == pytest.approx(35.3302, abs=5e-5)
    assert (ATMOSPHERE / b - ATMOSPHERE) / PSI == pytest.approx(13.1224, abs=5e-5)
    supply, cylinder = 80 * PSI + ATMOSPHERE, np.array([13.2, 13.0, 35.3, 35.4]) * PSI + ATMOSPHERE
    k = leakage.area_ratio(supply, cylinder, ATMOSPHERE)
    assert k[0] == pytest.approx(supply / cylinder[0], rel=1e-12) and k[1] > supply / cylinder[1] * (1 + 1e-7)
    assert k[2] == pytest.approx(supply / cylinder[2], rel=1e-12) and k[3] < supply / cylinder[3]
