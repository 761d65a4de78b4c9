"""Units against NIST SP 811 (2008), appendix B, and against their exact definitions."""

from __future__ import annotations

from fractions import Fraction

import pytest
from scipy import constants

from daq import units


def test_pound_force_per_square_inch() -> None:
    """SP 811 appendix B prints 6.894 757 E+03; exactly, by the definitions of pound, inch and standard gravity."""
    exact = Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2
    assert exact == Fraction("4.4482216152605") / Fraction("0.00064516")
    assert pytest.approx(float(exact), rel=2e-16) == units.PA_PER_PSI
    assert f"{units.PA_PER_PSI:.6e}" == "6.894757e+03"
    assert pytest.approx(constants.psi, rel=1e-15) == units.PA_PER_PSI


def test_inch_of_mercury_from_its_definition() -> None:
    """SP 811: conventional 3.386 389 E+03; density 13 595.1 kg/m3 and standard gravity. A barometer's unit: it is
    here to check the inch and the atmosphere that the project uses."""
    inch_of_mercury = 13_595.1 * 9.80665 * units.M_PER_INCH
    assert f"{inch_of_mercury:.6e}" == "3.386389e+03"
    assert units.PA_PER_ATM / inch_of_mercury == pytest.approx(29.9213, abs=5e-5)


def test_the_rest() -> None:
    """SP 811: bar 1 E+05, standard atmosphere 1.013 25 E+05, inch 2.54 E-02 (all exact)."""
    assert (units.PA_PER_BAR, units.PA_PER_ATM, units.M_PER_INCH) == (1e5, 101_325.0, 0.0254)
    assert pytest.approx(14.69594877551345, rel=1e-14) == units.PA_PER_ATM / units.PA_PER_PSI
    assert constants.zero_Celsius == units.ZERO_CELSIUS_K


@pytest.mark.parametrize(("unit", "pa"), [("psi", units.PA_PER_PSI), ("kPa", 1e3), ("bar", 1e5)])
def test_each_unit_a_person_may_choose(unit: str, pa: float) -> None:
    assert units.PressureUnit(unit).pa == pa
