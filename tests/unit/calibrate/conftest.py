"""A data sheet, and what a transducer with known faults gives."""

from __future__ import annotations

import pytest

from daq.measure.calibration import assumed_calibration
from daq.records import Calibration, ChannelCalibration

PSI = 6894.757293168361


@pytest.fixture(scope="session")
def sheets() -> Calibration:
    """Ratiometric, 0.5 V to 4.5 V over 150 psi, class 0.5 %."""
    return assumed_calibration()


@pytest.fixture(scope="session")
def sheet(sheets: Calibration) -> ChannelCalibration:
    return sheets.supply
