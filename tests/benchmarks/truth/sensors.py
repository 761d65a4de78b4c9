"""Transducers with errors within their class, what their data sheet says of them, and their pairing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.records import ChannelCalibration, Pairing
from daq.units import PA_PER_PSI
from simulator.scenario import TransducerSection
from tests.benchmarks.truth.ranges import Ranges

FULL_SCALE_PSI, ZERO_V, SPAN_V = 150.0, 0.5, 4.0
DAY_S = 86_400.0
PAIRING_CORRELATION = -0.9
"""Of offset and gain of a line through plateaus between a third and the whole of the set point; near enough."""


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

    def data_sheet(self, hysteresis_limit_psi: float) -> ChannelCalibration:
        return ChannelCalibration(
            zero_v=ZERO_V,
            pa_per_v=FULL_SCALE_PSI * PA_PER_PSI / SPAN_V,
            full_scale_pa=FULL_SCALE_PSI * PA_PER_PSI,
            accuracy_pa=self.class_psi * PA_PER_PSI,
            hysteresis_pa=hysteresis_limit_psi * PA_PER_PSI,
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


def draw_pairing(
    ranges: Ranges, rng: np.random.Generator, supply: Sensor, cylinder: Sensor, set_point_psi: float, now_s: float
) -> Pairing:
    """The true difference of the two on their rising branch, as it was some days ago, with the error that a pairing of
    the stated uncertainty makes."""
    gain = (cylinder.span - supply.span) / (1 + supply.span)
    offset_psi = cylinder.rising_zero_psi - (1 + gain) * supply.rising_zero_psi
    age_days = rng.uniform(*ranges.pairing_age_days)
    drift_psi = rng.uniform(*ranges.pairing_drift_psi_per_day)
    offset_psi += rng.uniform(-1, 1) * drift_psi * age_days
    u_offset_psi = float(np.exp(rng.uniform(*np.log(ranges.pairing_u_psi))))
    u_gain = u_offset_psi / (0.7 * set_point_psi)
    first, second = rng.standard_normal(2)
    second = PAIRING_CORRELATION * first + (1 - PAIRING_CORRELATION**2) ** 0.5 * second
    return Pairing(
        pairing_id="simulated",
        made_s=now_s - age_days * DAY_S,
        offset_pa=float(offset_psi + u_offset_psi * first) * PA_PER_PSI,
        gain=float(gain + u_gain * second),
        u_offset_pa=u_offset_psi * PA_PER_PSI,
        u_gain=u_gain,
        correlation=PAIRING_CORRELATION,
        residual_pa=u_offset_psi / 2 * PA_PER_PSI,
        degrees_of_freedom=float("inf"),
        lowest_pa=0.3 * set_point_psi * PA_PER_PSI,
        highest_pa=1.05 * set_point_psi * PA_PER_PSI,
        drift_pa_per_day=drift_psi * PA_PER_PSI,
    )
