"""Transducers with errors within their class, and what their data sheet says of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from daq.records import ChannelCalibration
from daq.units import PA_PER_PSI
from simulator.scenario import TransducerSection
from tests.benchmarks.truth.ranges import Ranges

FULL_SCALE_PSI, ZERO_V, SPAN_V = 150.0, 0.5, 4.0


@dataclass(frozen=True)
class Sensor:
    """A piece of `class_psi` (half-width of its limits of error). Shown pressure on the rising branch:
    zero_psi + (1 + span) * true."""

    class_psi: float
    zero_psi: float
    span: float
    hysteresis_psi: float
    drift_psi_per_min: float
    noise_psi: float
    response_ms: float

    @property
    def rising_zero_psi(self) -> float:
        return self.zero_psi - (1 + self.span) * self.hysteresis_psi / 2

    def section(self) -> TransducerSection:
        return TransducerSection(
            full_scale_psi=FULL_SCALE_PSI,
            zero_v=ZERO_V,
            span_v=SPAN_V,
            zero_error_psi=self.zero_psi,
            span_error_pct=100 * self.span,
            hysteresis_psi=self.hysteresis_psi,
            drift_psi_per_min=self.drift_psi_per_min,
            noise_psi=self.noise_psi,
            response_ms=self.response_ms,
        )

    def earlier(self, zero_psi: float) -> Sensor:
        """The same piece before its zero had drifted by so much."""
        return replace(self, zero_psi=self.zero_psi - zero_psi, drift_psi_per_min=0.0)

    def data_sheet(self) -> ChannelCalibration:
        return ChannelCalibration(
            zero_v=ZERO_V,
            pa_per_v=FULL_SCALE_PSI * PA_PER_PSI / SPAN_V,
            full_scale_pa=FULL_SCALE_PSI * PA_PER_PSI,
            accuracy_pa=self.class_psi * PA_PER_PSI,
        )


def draw_sensor(ranges: Ranges, rng: np.random.Generator, class_psi: float, set_point_psi: float) -> Sensor:
    """The whole error at the set point, seen from below, is uniform within the class; how it is made up of zero and
    span, and what falling pressure and drift may add, is drawn in the room that the class leaves up to full scale."""
    error = rng.uniform(-class_psi, class_psi)
    hysteresis = min(rng.uniform(*ranges.hysteresis_share) * class_psi, class_psi - error)
    drift = rng.uniform(*ranges.drift_share) * class_psi * rng.choice((-1, 1))
    drift = float(np.clip(drift, -class_psi - error, class_psi - error - hysteresis))
    line = error + hysteresis / 2
    reach = FULL_SCALE_PSI / set_point_psi
    least_zero = max(0.0, (reach - class_psi / max(abs(line), 1e-9)) / (reach - 1))
    zero = line * rng.uniform(min(least_zero, 1.0), 1.0)
    return Sensor(
        class_psi=class_psi,
        zero_psi=float(zero),
        span=float((line - zero) / set_point_psi),
        hysteresis_psi=float(hysteresis),
        drift_psi_per_min=drift,
        noise_psi=float(np.exp(rng.uniform(*np.log(ranges.sensor_noise_psi)))),
        response_ms=float(rng.uniform(*ranges.response_ms)),
    )
