"""Pressure transducers with the faults that real ones have."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp


@dataclass(frozen=True, slots=True)
class TransducerTraits:
    """What one transducer really does, at its nominal supply.

    `hysteresis_pa` is the full width between rising and falling; `noise_pa` the standard deviation of a sample;
    `response_s` the time constant; `drift_pa_per_s` moves the zero. `bow_pa` is how far the middle of the range lies
    above the straight line through its ends; between them a parabola.
    """

    zero_v: float
    volts_per_pa: float
    hysteresis_pa: float = 0.0
    drift_pa_per_s: float = 0.0
    noise_pa: float = 0.0
    response_s: float = 0.0
    bow_pa: float = 0.0
    full_scale_pa: float = 1.0


class Transducer:
    """Volts for a true gauge pressure. Call in the order of time: it remembers. `stuck` freezes its output."""

    def __init__(self, traits: TransducerTraits, noise: Iterator[float]) -> None:
        self.traits, self.stuck = traits, False
        self._noise = noise
        self._time_s = self._lagged_pa = self._played_pa = 0.0
        self.last_volts = traits.zero_v

    def volts(self, time_s: float, gauge_pa: float) -> float:
        """The output at `time_s`, with the pressure of that moment held since the last call."""
        traits = self.traits
        span_s, self._time_s = time_s - self._time_s, time_s
        if traits.response_s > 0.0:
            gauge_pa = self._lagged_pa + (gauge_pa - self._lagged_pa) * (1.0 - exp(-span_s / traits.response_s))
        self._lagged_pa = gauge_pa
        half = 0.5 * traits.hysteresis_pa
        self._played_pa = min(max(self._played_pa, gauge_pa - half), gauge_pa + half)
        part = self._played_pa / traits.full_scale_pa
        bow_pa = 4.0 * traits.bow_pa * part * (1.0 - part)
        seen_pa = self._played_pa + bow_pa + traits.drift_pa_per_s * time_s + traits.noise_pa * next(self._noise)
        if not self.stuck:
            self.last_volts = traits.zero_v + traits.volts_per_pa * seen_pa
        return self.last_volts
