"""Slider-crank. The rows were computed outside the simulator from the kinematics of a slider-crank (standard
mechanics), for 4.00 x 3.62 in with a rod of 6.1 in; friction figures are common practice, no source."""

from __future__ import annotations

from math import degrees, radians

import pytest
from scipy.optimize import brentq

from simulator.physics.crank import Crank, CrankGeometry, CrankTraits

PSI = 6894.757293168361
INCH = 0.0254
GEOMETRY = CrankGeometry(4.0 * INCH, 3.62 * INCH, 6.1 * INCH, 55e-6)
LBF_FT = 1.3558179483314004

# degrees, piston travel mm, torque at 100 psi N m, swept volume cc
ROWS = [
    (0.5, 0.002270, 2.90799, 0.01840),
    (1, 0.009080, 5.81563, 0.07361),
    (2, 0.036314, 11.62838, 0.29441),
    (3, 0.081689, 17.43537, 0.66228),
    (4, 0.145183, 23.23373, 1.17705),
    (5, 0.226765, 29.02058, 1.83845),
    (6, 0.326393, 34.79306, 2.64617),
    (8, 0.579584, 46.28353, 4.69887),
    (10, 0.904255, 57.68245, 7.33109),
    (12, 1.299765, 68.96734, 10.53761),
    (20, 3.572511, 112.52866, 28.96349),
]


@pytest.mark.parametrize(("angle_deg", "travel_mm", "torque_n_m", "swept_cc"), ROWS)
def test_kinematics_and_torque(angle_deg: float, travel_mm: float, torque_n_m: float, swept_cc: float) -> None:
    angle_rad = radians(angle_deg)
    assert GEOMETRY.travel_m(angle_rad) * 1e3 == pytest.approx(travel_mm, abs=1e-6)
    assert GEOMETRY.torque_n_m(angle_rad, 100 * PSI) == pytest.approx(torque_n_m, rel=3e-6)
    assert (GEOMETRY.volume_m3(angle_rad) - 55e-6) * 1e6 == pytest.approx(swept_cc, abs=1e-5)


# resisting torque lbf ft, psi, degrees off top dead centre where it gives way
TOLERABLE = [(5, 100, 1.166), (10, 20, 11.790), (10, 100, 2.332), (15, 80, 4.378), (20, 150, 3.111), (30, 20, 39.983)]


@pytest.mark.parametrize(("resisting", "psi", "limit_deg"), TOLERABLE)
def test_tolerable_offset(resisting: float, psi: float, limit_deg: float) -> None:
    found = brentq(lambda rad: GEOMETRY.torque_n_m(rad, psi * PSI) - resisting * LBF_FT, 0.0, 1.2)
    assert degrees(found) == pytest.approx(limit_deg, abs=6e-4)


@pytest.mark.parametrize(("offset_deg", "rolls"), [(2.3, False), (2.4, True), (-2.3, False), (-2.4, True)])
def test_gives_way_where_the_torque_exceeds_the_friction(offset_deg: float, rolls: bool) -> None:
    crank = Crank(GEOMETRY, CrankTraits(10 * LBF_FT, 0.2, radians(130), 2e-4))
    crank.place(radians(offset_deg))
    growth = [crank.step(0.001, 100 * PSI) for _ in range(100)]
    assert (abs(crank.angle_rad) > abs(radians(offset_deg))) == rolls
    assert (min(growth) >= 0.0) and (max(growth) > 0.0) == rolls


def test_rolls_away_from_where_it_stood_and_the_friction_stops_it() -> None:
    crank = Crank(GEOMETRY, CrankTraits(10.0, 0.2, radians(130), 2e-4))
    crank.place(radians(-10.0))
    for _ in range(100):
        crank.step(0.001, 100 * PSI)
    assert crank.angle_rad < radians(-20.0)
    for _ in range(3000):
        crank.step(0.001, 0.0)
    assert crank.speed_rad_s == 0.0


def test_exhaust_valve_opens_far_down() -> None:
    crank = Crank(GEOMETRY, CrankTraits(10.0, 0.2, radians(130), 2e-4))
    areas = []
    for angle_deg in (0.0, 130.0, 140.0, 175.0, -140.0):
        crank.place(radians(angle_deg))
        areas.append(crank.open_valve_m2)
    assert areas == pytest.approx([0.0, 0.0, 1e-4, 2e-4, 1e-4])
