import numpy as np
import pytest

from daq.calibrate.points import COUNT, LENGTH, PRESSURE, VOLTS, read_table
from daq.errors import DataError

PSI = 6894.757293168361


def test_units_come_from_the_header() -> None:
    table = read_table("# my gauge\nreference_psi, supply_mV ,cylinder_v\n0,501,0.5\n\n100,3160,3.17\n", "points.csv")
    np.testing.assert_allclose(table.need("reference", PRESSURE), [0, 100 * PSI])
    np.testing.assert_allclose(table.need("supply", VOLTS), [0.501, 3.160])
    np.testing.assert_allclose(table.need("cylinder", VOLTS), [0.5, 3.17])
    assert table.take("supply", COUNT) is None


@pytest.mark.parametrize(("unit", "pa"), [("psi", PSI), ("kPa", 1e3), ("bar", 1e5), ("Pa", 1.0)])
def test_every_unit_of_pressure(unit: str, pa: float) -> None:
    assert read_table(f"reference_{unit}\n2\n", "p.csv").need("reference", PRESSURE) == pytest.approx([2 * pa])


def test_toml_and_semicolons_say_the_same() -> None:
    toml = read_table("[[point]]\ndiameter_mm = 0.8\n[[point]]\ndiameter_mm = 1\n", "jets.toml")
    other = read_table("diameter_mm;cd\n0.8;0.7\n1;0.7\n", "jets.csv")
    np.testing.assert_array_equal(toml.need("diameter", LENGTH), other.need("diameter", LENGTH))


@pytest.mark.parametrize(
    ("text", "origin", "words"),
    [
        ("", "p.csv", "has no points"),
        ("reference_psi\n", "p.csv", "has no points"),
        ("reference_psi\nten\n", "p.csv", "point 1: reference_psi is no number"),
        ("reference_psi,x\n1,2\n,3\n", "p.csv", "point 2 has no reference"),
        ("reference\n1\n", "p.csv", "no column for reference with a unit"),
        ("reference_atm\n1\n", "p.csv", "one of reference_psi, reference_kpa, reference_bar, reference_pa"),
        ("reference_psi,reference_bar\n1,2\n", "p.csv", "gives reference twice"),
        ("reference_psi = 3\n[[", "p.toml", "is not a TOML file"),
        ("point = 3", "p.toml", "no list of tables"),
    ],
)
def test_what_cannot_be_read_says_why(text: str, origin: str, words: str) -> None:
    with pytest.raises(DataError) as refused:
        read_table(text, origin).need("reference", PRESSURE)
    assert words in str(refused.value) and origin in str(refused.value) and refused.value.todo
