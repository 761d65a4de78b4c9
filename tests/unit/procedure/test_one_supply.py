from __future__ import annotations

from dataclasses import replace

import pytest

from daq.measure import leakage
from daq.procedure.one_supply import Carried, taken
from tests.unit.procedure.judged import INSTRUMENT, PSI, reading


def test_a_reading_at_the_set_point_stays_as_it_is() -> None:
    one = reading(9.0, supply_pa=99 * PSI)
    found = taken(one, INSTRUMENT)
    assert found.reading is one and found.carried is None and found.scale == 1.0


@pytest.mark.parametrize(("supply_psi", "loss"), [(80, 25.0), (60, 10.0)])
def test_another_supply_is_carried_and_flagged(supply_psi: float, loss: float) -> None:
    """The same leak as the instrument would read it at its set point, through the area ratio of the leak."""
    one = reading(loss, supply_pa=supply_psi * PSI)
    found = taken(one, INSTRUMENT)
    expected = leakage.loss_from_area_ratio(one.area_ratio, INSTRUMENT.set_point_pa, INSTRUMENT.atmosphere_pa)
    assert found.carried is Carried.OTHER_SUPPLY
    assert found.reading.loss_at_set_pct == pytest.approx(float(expected), rel=1e-9)
    assert found.reading.u_loss_pct == pytest.approx(one.u_loss_pct * found.scale)
    assert found.scale == pytest.approx(found.reading.loss_at_set_pct / loss)


def test_another_restrictor_is_carried_by_the_area_of_the_leak() -> None:
    """0.060 in reads 5.678 % of what 0.040 in reads 24.224 % of, at 100 psi; and now both restrictors are in doubt."""
    large = replace(INSTRUMENT, restrictor_diameter_m=0.001524)
    one = reading(24.22405)
    found = taken(one, large)
    assert found.carried is Carried.OTHER_RESTRICTOR
    assert found.reading.loss_at_set_pct == pytest.approx(5.67792, abs=1e-4)
    assert found.reading.u_loss_pct > 0.5 and found.reading.budget == ()


def test_a_tight_cylinder_has_no_restrictor_to_compare() -> None:
    assert taken(reading(-0.1), INSTRUMENT).carried is None
