from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.errors import UsageError
from daq.measure.calibration import assumed_calibration
from daq.measure.limits import carried
from daq.measure.orifice import circle_area, sonic_conductance
from daq.records import Calibration, Limit, RestrictorCalibration

PSI, INCH = 6894.757293168361, 0.0254
ASSUMED = assumed_calibration()


def limit(loss: float, restrictor_in: float = 0.040, supply_psi: float = 80.0) -> Limit:
    return Limit("limit", loss, restrictor_in * INCH, 0.8, supply_psi * PSI, "a book")


def known(diameter_in: float, coefficient: float, u: float) -> Calibration:
    conductance = sonic_conductance(coefficient * circle_area(diameter_in * INCH))
    found = RestrictorCalibration("r", 0.0, conductance, 0.5282817877171742, u * conductance, 0.01, 0.0, 8.0)
    return replace(ASSUMED, restrictor=found)


def test_a_limit_at_home_stays_what_it_is(instrument) -> None:
    found = carried(limit(15.0, supply_psi=100.0), instrument, ASSUMED)
    assert found.loss_pct == pytest.approx(15.0, abs=1e-9) and found.u_loss_pct == 0
    assert (found.name, found.source) == ("limit", "a book")


def test_what_a_carried_limit_is_bound_to(instrument) -> None:
    found = carried(limit(25.0, 0.060), instrument, known(0.040, 0.9, 0.01))
    assert found.restrictor_diameter_m == 0.001016 and found.set_point_pa == pytest.approx(100 * PSI)
    assert found.discharge_coefficient == pytest.approx(0.9)


def test_a_calibrated_restrictor_carries_its_uncertainty(instrument) -> None:
    """A restrictor of 1 % more area reads nearly 2 % less of a small loss."""
    stated = limit(5.0, supply_psi=100.0)
    losses = [carried(stated, instrument, known(0.040, c, 0.01)) for c in (0.8 * 0.99, 0.8, 0.8 * 1.01)]
    assert losses[1].loss_pct == pytest.approx(5.0, abs=1e-6)
    assert losses[1].u_loss_pct == pytest.approx(0.5 * (losses[0].loss_pct - losses[2].loss_pct), rel=1e-6)
    assert losses[1].u_loss_pct == pytest.approx(0.02 * 5, rel=0.08)


def test_a_wider_restrictor_reads_less(instrument) -> None:
    wide = replace(instrument, restrictor_diameter_m=0.060 * INCH)
    assert carried(limit(10.0), wide, ASSUMED).loss_pct < 2.2 < carried(limit(10.0), instrument, ASSUMED).loss_pct


@pytest.mark.parametrize("loss", [-1.0, 100.0, np.nan])
def test_a_limit_that_no_leak_reads_is_refused(instrument, loss: float) -> None:
    with pytest.raises(UsageError, match="A limit must be a loss"):
        carried(limit(loss), instrument, ASSUMED)
