import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from daq.calibrate.check_jet import JetVerdict, check_jet, reading_of
from daq.calibrate.jets import Jet, JetPoint, jet_of_conductance, jet_of_diameter, jet_points
from daq.calibrate.points import read_table
from daq.calibrate.restrictor import RestrictorResult, calibrate_restrictor
from daq.errors import DataError
from daq.measure import leakage, orifice
from daq.records import Instrument

PSI = 6894.757293168361
INSTRUMENT = Instrument(0.001016, 0.8, 0.5283, 101_325.0, 293.15, 100 * PSI, 2 * PSI)
AREA, B = 0.85 * math.pi / 4 * 0.001016**2, 0.48
DIAMETERS_MM = (0.6, 0.9, 1.2, 1.6, 2.4)


def measured(diameter_mm: float, area: float = AREA, b: float = B, supply_psi: float = 100.0) -> JetPoint:
    """What a true jet of Cd 0.8 gives behind a restrictor of this area, with the exact balance of flows."""
    jet = jet_of_diameter(diameter_mm * 1e-3, 0.8)
    loss = float(leakage.loss_from_area_ratio(jet.area_m2 / area, supply_psi * PSI, 101_325.0, b))
    return JetPoint(jet, supply_psi * PSI, supply_psi * PSI * (1 - loss / 100))


def fitted(points: list[JetPoint], u_loss_pct: float = 0.07) -> RestrictorResult:
    return calibrate_restrictor(points, INSTRUMENT, 7.0, u_loss_pct)


POINTS = [measured(d) for d in DIAMETERS_MM]


def test_exact_jets_give_back_c_and_b() -> None:
    found = fitted(POINTS)
    assert orifice.effective_area(found.restrictor.conductance_m3_s_pa) == pytest.approx(AREA, rel=1e-6)
    assert found.restrictor.critical_ratio == pytest.approx(B, abs=1e-5)
    assert found.discharge_coefficient == pytest.approx(0.85, rel=1e-6)
    assert found.residual == pytest.approx([0] * 5, abs=1e-6) and found.restrictor.made_s == 7.0
    assert found.pressure_ratio[0] > 0.97 and found.pressure_ratio[-1] < 0.35, "choked jets and a choked restrictor"


def test_covariance_as_scipy_finds_it() -> None:
    """An independent minimisation of the same sum of squares, with 2 % of the jets' Cd added to C alone."""
    points = [JetPoint(Jet(p.jet.area_m2 * s, 0.02), p.supply_pa, p.cylinder_pa)
              for p, s in zip(POINTS, (1.01, 0.99, 1.0, 1.012, 0.99), strict=True)]  # fmt: skip
    found = calibrate_restrictor(points, INSTRUMENT, 0.0, 0.0).restrictor
    r = np.array([(p.cylinder_pa + 101_325) / (p.supply_pa + 101_325) for p in points])
    flow = np.array([p.jet.area_m2 * x * float(orifice.flow_function(101_325 / (p.cylinder_pa + 101_325)))
                     for p, x in zip(points, r, strict=True)])  # fmt: skip
    sigma = flow * math.hypot(0.02, 0.005)
    best, covariance = curve_fit(
        lambda r, a, b: a * 1e-6 * orifice.flow_function(r, b), r, flow, (0.6, 0.5), sigma, absolute_sigma=True
    )
    assert orifice.effective_area(found.conductance_m3_s_pa) * 1e6 == pytest.approx(best[0], rel=1e-5)
    assert found.critical_ratio == pytest.approx(best[1], abs=1e-4)
    assert found.u_critical_ratio == pytest.approx(math.sqrt(covariance[1, 1]), rel=0.01)
    u_relative = found.u_conductance_m3_s_pa / found.conductance_m3_s_pa
    assert u_relative == pytest.approx(math.hypot(math.sqrt(covariance[0, 0]) / best[0], 0.02), rel=0.01)
    assert found.degrees_of_freedom == math.inf


def test_the_stated_uncertainty_holds_what_was_hidden() -> None:
    rng, inside_c, inside_b = np.random.default_rng(2), 0, 0
    for _ in range(200):
        shared = 1 + 0.02 * rng.standard_normal()
        points = []
        for true in POINTS:
            u_own = true.jet.u_own
            jet = Jet(true.jet.area_m2 * shared * (1 + u_own * rng.standard_normal()), u_own)
            cylinder_pa = true.cylinder_pa + 0.07 * PSI * rng.standard_normal()
            points.append(JetPoint(jet, true.supply_pa, cylinder_pa))
        found = fitted(points).restrictor
        error = orifice.effective_area(found.conductance_m3_s_pa) / AREA - 1
        inside_c += abs(error) < 2 * found.u_conductance_m3_s_pa / found.conductance_m3_s_pa
        inside_b += abs(found.critical_ratio - B) < 2 * found.u_critical_ratio
    assert inside_c / 200 > 0.92 and inside_b / 200 > 0.92


def test_jets_that_scatter_more_than_they_say_widen_it() -> None:
    bad = [JetPoint(Jet(p.jet.area_m2 * s, 0.0), p.supply_pa, p.cylinder_pa)
           for p, s in zip(POINTS, (1.012, 0.988, 1.012, 0.988, 1.012), strict=True)]  # fmt: skip
    found, quiet = fitted(bad).restrictor, fitted(POINTS).restrictor
    assert found.u_critical_ratio > 1.5 * quiet.u_critical_ratio and found.degrees_of_freedom == 3


# ---- jets


def test_a_jet_by_diameter_and_by_conductance() -> None:
    """Ref: CdA 0.6485855732 mm2 has C = 0.129194935 dm3/(s bar) at the density of ISO 8778."""
    one, other = jet_of_diameter(1.016e-3, 0.8), jet_of_conductance(1.29194935e-9)
    assert one.area_m2 == pytest.approx(other.area_m2, rel=1e-6) == pytest.approx(0.6485855732e-6, rel=1e-6)
    assert one.u_own == pytest.approx(2 * 5e-6 / 1.016e-3)


def test_jets_of_a_table() -> None:
    by_bore = jet_points(read_table("diameter_mm,cd,supply_psi,cylinder_psi\n1,0.8,100,90\n", "jets.csv"))
    assert by_bore[0].loss_pct == pytest.approx(10.0) and by_bore[0].supply_pa == pytest.approx(100 * PSI)
    by_c = jet_points(read_table("conductance_dm3_s_bar,supply_bar,cylinder_bar\n0.1292,7,6.3\n", "jets.csv"))
    assert by_c[0].jet.area_m2 == pytest.approx(0.6486e-6, rel=1e-3)
    own = jet_points(read_table("diameter_mm,cd,u_diameter_mm,supply_psi,cylinder_psi\n1,.8,.02,100,90\n", "j.csv"))
    assert own[0].jet.u_own == pytest.approx(0.04)


# ---- what cannot be


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("diameter_mm,cd,supply_psi,cylinder_psi\n1,0.8,100,90\n0.9,1.2,100,93\n", "Jet 2 cannot be"),
        ("diameter_in,cd,supply_psi,cylinder_psi\n0.9,0.8,100,93\n", "diameter of 22.9 mm"),
        ("conductance_m3_s_pa,supply_psi,cylinder_psi\n0.13,100,93\n", "conductance"),
        ("conductance_m3_s_pa,supply_psi,cylinder_psi\n-1e-9,100,93\n", "conductance"),
        ("diameter_mm,supply_psi,cylinder_psi\n0.9,100,93\n", "no column for cd"),
    ],
)
def test_a_jet_that_cannot_be(text: str, words: str) -> None:
    with pytest.raises(DataError) as refused:
        jet_points(read_table(text, "jets.csv"))
    assert words in refused.value.what and refused.value.todo


def test_fewer_jets_than_it_takes() -> None:
    with pytest.raises(DataError, match="2 jets cannot tell"):
        fitted(POINTS[:2])


def test_jets_too_much_alike() -> None:
    with pytest.raises(DataError, match="too much alike"):
        fitted([measured(d) for d in (0.60, 0.61, 0.62)])


def test_a_jet_that_contradicts_the_others() -> None:
    bent = [
        *POINTS[:2],
        JetPoint(jet_of_diameter(1.05e-3, 0.8), POINTS[2].supply_pa, POINTS[2].cylinder_pa),
        *POINTS[3:],
    ]
    with pytest.raises(DataError, match="Jet 3 contradicts"):
        fitted(bent)


def test_a_curve_that_no_restrictor_has() -> None:
    points = [measured(d, b=0.85) for d in (0.6, 0.9, 1.4, 2.0)]
    with pytest.raises(DataError, match="No restrictor has the curve"):
        fitted(points, u_loss_pct=3.0)


@pytest.mark.parametrize("cylinder_psi", [101.0, 0.0, -1.0])
def test_a_jet_without_flow(cylinder_psi: float) -> None:
    with pytest.raises(DataError, match="Jet 1 cannot be"):
        fitted([JetPoint(POINTS[0].jet, 100 * PSI, cylinder_psi * PSI), *POINTS[1:]])


def test_jets_twice_too_large_give_a_restrictor_that_cannot_be() -> None:
    with pytest.raises(DataError, match=r"restrictor would have a discharge coefficient of 1\.7") as refused:
        fitted([JetPoint(Jet(2 * p.jet.area_m2, 0.01), p.supply_pa, p.cylinder_pa) for p in POINTS])
    assert "restrictor_in" in refused.value.todo


# ---- a check jet

PART = leakage.Restrictor(AREA, B)


def test_a_clean_restrictor_is_as_calibrated() -> None:
    found = check_jet(measured(0.9), INSTRUMENT, PART, 0.07, 0.02)
    assert found.verdict is JetVerdict.AS_CALIBRATED
    assert found.expected_pct == pytest.approx(found.measured_pct) and found.area_change == pytest.approx(0, abs=1e-6)


def test_a_fouled_restrictor_is_told_and_what_it_does() -> None:
    """5 % less of the diameter: a true 10 % at 100 psi reads 12.0553 % (mass balance, worked out with scipy)."""
    found = check_jet(measured(0.9, AREA * 0.95**2), INSTRUMENT, PART, 0.07, 0.02)
    assert found.verdict is JetVerdict.SMALLER and "never with a wire" in found.advice
    assert found.diameter_change == pytest.approx(-0.05, abs=1e-4)
    assert found.measured_pct > found.expected_pct
    assert 11.9 < found.reads_10_as_pct < 12.2
    assert reading_of(10.0, 0.95**2, INSTRUMENT, orifice.CRITICAL_RATIO) == pytest.approx(12.0553, abs=1e-3)


def test_a_worn_one_too() -> None:
    found = check_jet(measured(0.9, AREA * 1.1), INSTRUMENT, PART, 0.07, 0.02)
    assert found.verdict is JetVerdict.LARGER and found.reads_10_as_pct < 10


def test_what_the_sensors_cannot_tell_is_no_change() -> None:
    shrunk = measured(0.9, AREA * 0.96)
    assert check_jet(shrunk, INSTRUMENT, PART, 0.07, 0.0).verdict is JetVerdict.SMALLER
    assert check_jet(shrunk, INSTRUMENT, PART, 0.6, 0.0).verdict is JetVerdict.AS_CALIBRATED
