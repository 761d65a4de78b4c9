"""Transducers with errors within their class, and what their data sheet says of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from daq.records import ChannelCalibration
from daq.units import PA_PER_PSI
from simulator.scenario import TransducerSection
from tests.benchmarks.truth.ranges import Ranges

FULL_SCALE_PSI, ZERO_V, SPAN_V = 150.0, 0.5, 4.0
TILT = 0.5
"""Most that the error changes from zero to full scale, of the class. Between the two it is then as good as uniform: its
standard deviation is 0.97 of theirs."""


@dataclass(frozen=True)
class Sensor:
    """A piece of `class_psi` (half-width of its limits of error). Shown pressure on the rising branch:
    zero_psi + (1 + span) * true, and the bow of the piece."""

    class_psi: float
    zero_psi: float
    span: float
    bow_psi: float
    hysteresis_psi: float
    drift_psi_per_min: float
    noise_psi: float
    response_ms: float

    @property
    def rising_zero_psi(self) -> float:
        return self.zero_psi - (1 + self.span) * self.hysteresis_psi / 2

    def error_psi(self, at_psi: float) -> float:
        """Of what is shown on the rising branch."""
        part = at_psi / FULL_SCALE_PSI
        return self.rising_zero_psi + self.span * at_psi + 4 * self.bow_psi * part * (1 - part)

    def section(self) -> TransducerSection:
        return TransducerSection(
            full_scale_psi=FULL_SCALE_PSI,
            zero_v=ZERO_V,
            span_v=SPAN_V,
            zero_error_psi=self.zero_psi,
            span_error_pct=100 * self.span,
            hysteresis_psi=self.hysteresis_psi,
            bow_psi=self.bow_psi,
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


def draw_sensor(ranges: Ranges, rng: np.random.Generator, class_psi: float) -> Sensor:
    """Limits of a data sheet mean an error anywhere between them with equal chance: so it is at zero and at full scale,
    on the rising branch, and the two differ by `TILT` of the class at most. Bow, falling pressure and drift are drawn
    in the room that the class leaves.

    Drawn as uniform at the set point alone, and its zero as a part of that, the zero has 0.77 of the standard deviation
    that the limits mean: it is the zero that a pairing does not take off.
    """
    at_zero = rng.uniform(-1.0, 1.0)
    hysteresis = rng.uniform(*ranges.hysteresis_share)
    drift = rng.uniform(*ranges.drift_share) * rng.choice((-1, 1))
    at_end = _folded(at_zero + rng.uniform(-TILT, TILT))
    part = np.linspace(0.0, 1.0, 31)
    line, shape = at_zero + (at_end - at_zero) * part, 4 * part * (1 - part)
    least, most = ((side - line[1:-1]) / shape[1:-1] for side in (-1, 1))
    bow = rng.spawn(1)[0].uniform(*ranges.bow_share)  # of its own: the stream of the other draws stays as it is
    bow = float(np.clip(bow, least.max(), most.min()))
    curve = line + bow * shape
    highest, lowest = curve.max(), curve.min()
    hysteresis = min(hysteresis, float(1 - highest))
    drift = float(np.clip(drift, -1 - lowest, 1 - highest - hysteresis))
    span = class_psi * (at_end - at_zero) / FULL_SCALE_PSI
    return Sensor(
        class_psi=class_psi,
        zero_psi=class_psi * (at_zero + (1 + span) * hysteresis / 2),
        span=span,
        bow_psi=class_psi * bow,
        hysteresis_psi=class_psi * hysteresis,
        drift_psi_per_min=class_psi * drift,
        noise_psi=float(np.exp(rng.uniform(*np.log(ranges.sensor_noise_psi)))),
        response_ms=float(rng.uniform(*ranges.response_ms)),
    )


def _folded(place: float) -> float:
    """What lies beyond -1 or 1, thrown back by it: so many as leave come back, and what was uniform stays uniform."""
    return 2 - place if place > 1 else -2 - place if place < -1 else place
