"""The slider-crank against two other ways to it, and against numbers worked out elsewhere.

The other ways: the pin as a complex number (crank end plus a rod of given length, laid on the real axis), and the
numerical derivative of the piston's place; virtual work instead of a lever for the torque. The table of check values
(4.00 x 3.62 in, rod 6.1 in, 100 psi) was worked out beforehand in inches and pounds, without this code.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from scipy.differentiate import derivative
from scipy.optimize import brentq, minimize_scalar

from daq.procedure.crank_geometry import NM_PER_LBF_FT, CrankGeometry

PSI = 6894.757293168361
INCH = 0.0254
CC = 1e-6
ENGINE = CrankGeometry(4.00 * INCH, 3.62 * INCH, 6.1 * INCH, 107.8280 * CC)
SHAPES = [ENGINE, CrankGeometry(0.05, 0.03, 0.0151), CrankGeometry(0.13, 0.11, 0.4), CrankGeometry(0.9, 1.8, 2.5)]

# degrees, travel mm, lever in/rad, torque lbf ft and N m at 100 psi, swept cm3
TABLE = [
    (0.5, 0.002270, 0.0204816, 2.14483, 2.90799, 0.01840),
    (1, 0.009080, 0.0409606, 4.28939, 5.81563, 0.07361),
    (2, 0.036314, 0.0819010, 8.57665, 11.62838, 0.29441),
    (3, 0.081689, 0.1228008, 12.85967, 17.43537, 0.66228),
    (5, 0.226765, 0.2043977, 21.40448, 29.02058, 1.83845),
    (8, 0.579584, 0.3259842, 34.13698, 46.28353, 4.69887),
    (10, 0.904255, 0.4062690, 42.54439, 57.68245, 7.33109),
    (20, 3.572511, 0.7925618, 82.99688, 112.52866, 28.96349),
]
# resisting torque lbf ft -> pressure psi -> degrees
TOLERABLE = {
    5: {20: 5.844, 40: 2.916, 80: 1.457, 100: 1.166, 150: 0.777},
    10: {20: 11.790, 40: 5.844, 80: 2.916, 100: 2.332, 150: 1.554},
    30: {20: 39.983, 40: 17.957, 80: 8.798, 100: 7.022, 150: 4.671},
}


def pin(geometry: CrankGeometry, angle: float) -> float:
    """Place of the pin on the axis: crank * e^(i angle), then a rod that brings the imaginary part back to zero."""
    crank = geometry.radius_m * cmath.exp(1j * angle)
    rod = geometry.rod_length_m * cmath.exp(-1j * math.asin(crank.imag / geometry.rod_length_m))
    assert abs((crank + rod).imag) < 1e-12
    return (crank + rod).real


@pytest.mark.parametrize("geometry", SHAPES)
@pytest.mark.parametrize("degrees", [-170, -30, 0.01, 1, 12, 60, 90, 135, 180])
def test_travel_against_complex_numbers(geometry: CrankGeometry, degrees: float) -> None:
    angle = math.radians(degrees)
    expected = geometry.radius_m + geometry.rod_length_m - pin(geometry, angle)
    assert float(geometry.travel_m(angle)) == pytest.approx(expected, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("geometry", SHAPES)
def test_lever_against_the_numerical_derivative(geometry: CrankGeometry) -> None:
    angles = np.radians(np.linspace(-170, 170, 69))
    numerical = derivative(lambda a: -np.vectorize(lambda x: pin(geometry, x))(a), angles, initial_step=0.01)
    assert np.allclose(geometry.travel_per_rad(angles), numerical.df, rtol=1e-7, atol=1e-9)


@pytest.mark.parametrize(("degrees", "mm", "lever_in", "lbf_ft", "nm", "cc"), TABLE)
def test_table(degrees: float, mm: float, lever_in: float, lbf_ft: float, nm: float, cc: float) -> None:
    angle = math.radians(degrees)
    assert float(ENGINE.travel_m(angle)) * 1000 == pytest.approx(mm, abs=6e-7)
    assert float(ENGINE.travel_per_rad(angle)) / INCH == pytest.approx(lever_in, abs=6e-8)
    torque = float(ENGINE.torque_nm(100 * PSI, angle))
    assert torque == pytest.approx(nm, abs=6e-6)
    assert torque / NM_PER_LBF_FT == pytest.approx(lbf_ft, abs=6e-6)
    assert float(ENGINE.volume_m3(angle) - ENGINE.volume_m3(0.0)) / CC == pytest.approx(cc, abs=6e-6)


def test_areas_and_volumes() -> None:
    assert ENGINE.area_m2 / INCH**2 == pytest.approx(12.566371, abs=6e-7)
    assert ENGINE.swept_m3 / CC == pytest.approx(745.4518, abs=6e-5)
    assert ENGINE.opening_m3 / CC == pytest.approx(483.32, abs=6e-3)


@pytest.mark.parametrize(
    ("degrees", "ratio"),
    [(1, 1.0006827), (5, 1.0170499), (10, 1.0679887), (20, 1.2686083), (30, 1.5920281)],
)
def test_volume_ratio(degrees: float, ratio: float) -> None:
    """The clearance volume is known to 0.0001 cm3, and so the ratio to 3e-7."""
    assert float(ENGINE.volume_m3(math.radians(degrees)) / ENGINE.volume_m3(0.0)) == pytest.approx(ratio, abs=3.5e-7)


@pytest.mark.parametrize(
    ("lbf_ft", "psi", "degrees"), [(t, p, d) for t, row in TOLERABLE.items() for p, d in row.items()]
)
def test_tolerable_angle(lbf_ft: float, psi: float, degrees: float) -> None:
    found = math.degrees(ENGINE.tolerable_rad(psi * PSI, lbf_ft * NM_PER_LBF_FT))
    assert found == pytest.approx(degrees, abs=6e-4)


@pytest.mark.parametrize("geometry", SHAPES)
@pytest.mark.parametrize("part", [0.001, 0.2, 0.9, 0.999])
def test_tolerable_angle_by_virtual_work_and_brent(geometry: CrankGeometry, part: float) -> None:
    """The torque is the work of the gas for each radian: p dV/dangle, taken numerically."""

    def torque(angle: float) -> float:
        step = 1e-5
        return 5e5 * geometry.area_m2 * (pin(geometry, angle - step) - pin(geometry, angle + step)) / (2 * step)

    top = minimize_scalar(lambda a: -torque(a), bounds=(0.3, math.pi), method="bounded", options={"xatol": 1e-7})
    resistance = part * torque(top.x)
    expected = brentq(lambda a: torque(a) - resistance, 0.0, top.x, xtol=1e-9)
    assert geometry.longest_lever_rad == pytest.approx(top.x, abs=1e-3)
    assert geometry.tolerable_rad(5e5, resistance) == pytest.approx(expected, rel=1e-4, abs=1e-6)
    assert geometry.tolerable_rad(5e5, 1.001 * torque(top.x)) == math.pi
