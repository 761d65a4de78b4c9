"""The errors of an instrument once more, written apart from the code under test: what it indicates of true pressures.

`Errors` holds a value for each error that a bench can have. They may be numbers, arrays of draws, or the uncertain
numbers of a metrology package; all work through plain arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

from daq.measure.calibration import assumed_calibration
from daq.measure.orifice import CRITICAL_RATIO
from daq.records import Calibration, ChannelCalibration, Instrument, Pairing, RestrictorCalibration

PSI = 6894.757293168361
DAY_S, YEAR_S = 86_400.0, 365.25 * 86_400.0
MADE_S = 1.7e9
AT_S = MADE_S + 0.5 * YEAR_S

INSTRUMENT = Instrument(0.001016, 0.8, CRITICAL_RATIO, 101_325.0, 293.15, 100 * PSI, 2 * PSI)
CLASS = assumed_calibration()

_SUPPLY = ChannelCalibration(
    zero_v=0.5, pa_per_v=37.5 * PSI, full_scale_pa=150 * PSI, accuracy_pa=0.75 * PSI, u_zero_pa=350.0, u_span=1.1e-3,
    zero_span_correlation=-0.55, u_reference_span=7e-4, hysteresis_pa=600.0, nonlinearity_pa=450.0,
    drift_pa_per_year=900.0, degrees_of_freedom=14, made_s=MADE_S,
)  # fmt: skip
_CYLINDER = ChannelCalibration(
    zero_v=0.5, pa_per_v=37.5 * PSI, full_scale_pa=150 * PSI, accuracy_pa=0.75 * PSI, u_zero_pa=420.0, u_span=1.3e-3,
    zero_span_correlation=-0.45, u_reference_span=7e-4, hysteresis_pa=800.0, nonlinearity_pa=700.0,
    drift_pa_per_year=1100.0, degrees_of_freedom=9, made_s=MADE_S,
)  # fmt: skip
CALIBRATED = Calibration("both calibrated", "calibrated", "", 5.0, _SUPPLY, _CYLINDER)
PAIRING = Pairing(
    "pairing", AT_S - 5 * DAY_S, offset_pa=900.0, gain=2.2e-3, u_offset_pa=260.0, u_gain=5e-4, correlation=-0.8,
    residual_pa=120.0, degrees_of_freedom=6, lowest_pa=20 * PSI, highest_pa=120 * PSI, drift_pa_per_day=40.0,
)  # fmt: skip
RESTRICTOR = RestrictorCalibration("restrictor", MADE_S, 1.25e-9, 0.49, 1.6e-11, 0.015, -0.6, degrees_of_freedom=7)


@dataclass
class Errors:
    """`_pa` in Pa, spans and gains relative; `bow` at the two pressures; `noise` with what the converter adds."""

    zero_1_pa: Any = 0.0
    span_1: Any = 0.0
    zero_2_pa: Any = 0.0
    span_2: Any = 0.0
    reference_gauge: Any = 0.0
    hysteresis_1_pa: Any = 0.0
    hysteresis_2_pa: Any = 0.0
    bow_1_pa: Any = 0.0
    bow_2_pa: Any = 0.0
    drift_1_pa: Any = 0.0
    drift_2_pa: Any = 0.0
    noise_1_pa: Any = 0.0
    noise_2_pa: Any = 0.0
    offset_pa: Any = 0.0
    gain: Any = 0.0
    residual_pa: Any = 0.0
    pairing_drift_pa: Any = 0.0

    def common(self, p: Any) -> Any:
        """The error of the supply channel at any pressure, as far as it is a line."""
        return self.zero_1_pa + self.drift_1_pa + (self.span_1 + self.reference_gauge) * p

    def supply(self, p1: float) -> Any:
        return p1 + self.common(p1) + self.hysteresis_1_pa + self.bow_1_pa + self.noise_1_pa

    def cylinder(self, p2: float) -> Any:
        own = self.zero_2_pa + self.drift_2_pa + (self.span_2 + self.reference_gauge) * p2 + self.bow_2_pa
        return p2 + own + self.hysteresis_2_pa + self.noise_2_pa

    def paired_cylinder(self, p2: float) -> Any:
        """The cylinder channel on the scale of the supply channel, for `bow_2_pa` that of the supply channel there."""
        pairing = self.offset_pa + self.gain * p2 + self.residual_pa + self.pairing_drift_pa
        return p2 + self.common(p2) + self.bow_2_pa + pairing + self.hysteresis_2_pa + self.noise_2_pa


NAMES = tuple(field.name for field in fields(Errors))


def loss_pct(p1: Any, p2: Any) -> Any:
    return 100 * (1 - p2 / p1)
