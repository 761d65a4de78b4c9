"""From true pressures to counts: both transducers, the pick-up of mains hum, and the converter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
import numpy.typing as npt

from simulator.physics.bench import Bench
from simulator.physics.transducer import Transducer

NOMINAL_REFERENCE_V = 5.0
Counts = npt.NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class ConverterTraits:
    """A floor converter with 2^bits codes. Ratiometric: full scale is the reference that feeds the transducers too.
    Absolute: full scale is `full_scale_v`, and a third channel measures the transducers' supply."""

    bits: int
    absolute: bool = False
    full_scale_v: float = NOMINAL_REFERENCE_V
    hum_v: float = 0.0
    hum_hz: float = 50.0

    @property
    def top_count(self) -> int:
        return (1 << self.bits) - 1


@dataclass(frozen=True, slots=True)
class Conversions:
    """One row a sample. `reference` is the count of the transducers' supply (absolute) or 0.1 mV (ratiometric)."""

    supply_count: Counts
    cylinder_count: Counts
    reference: Counts
    reference_v: float


class FrontEnd:
    """Measures a bench. The bench stands still until `begin`; from then on both run on one time, in seconds."""

    def __init__(self, bench: Bench, supply: Transducer, cylinder: Transducer, traits: ConverterTraits) -> None:
        self.bench, self.supply, self.cylinder, self.traits = bench, supply, cylinder, traits
        self.reference_v = NOMINAL_REFERENCE_V
        self.wires_v: dict[str, float | None] = {"supply": None, "cylinder": None}
        """What stands on a signal wire that is not whole; None for one that is."""
        self.swapped = False
        self._began_s: float | None = None

    def begin(self, at_s: float) -> None:
        """Let the time of the bench start; later calls change nothing."""
        if self._began_s is None:
            self._began_s = at_s

    def advance(self, to_s: float) -> None:
        """Bring the bench up to this time."""
        if self._began_s is not None:
            self.bench.advance(to_s - self._began_s)

    @property
    def last_volts(self) -> tuple[float, float]:
        """What the two transducers gave last, at their nominal supply."""
        return self.supply.last_volts, self.cylinder.last_volts

    def volts(self, times_s: Sequence[float]) -> npt.NDArray[np.float64]:
        """What a converter finds at its two inputs at each of these rising times, shape (times, 2): supply, cylinder,
        as the transducers would give it at their nominal supply."""
        volts = np.empty((len(times_s), 2))
        for row, time_s in enumerate(times_s):
            self.advance(time_s)
            bench = self.bench
            volts[row, 0] = self.supply.volts(bench.time_s, bench.supply_gauge_pa)
            volts[row, 1] = self.cylinder.volts(bench.time_s, bench.cylinder_gauge_pa)
        hum_v = self.traits.hum_v * np.sin(2.0 * pi * self.traits.hum_hz * np.asarray(times_s))
        return self._wired(volts + hum_v[:, np.newaxis])

    def convert(self, times_s: Sequence[float]) -> Conversions:
        """Convert all channels at each of these rising times."""
        counts = self._counts(self.volts(times_s))
        reference = np.full(len(times_s), self._reference(), np.uint16)
        return Conversions(counts[:, 0], counts[:, 1], reference, self.reference_v)

    def _wired(self, volts: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """What the converter finds at its two inputs."""
        for column, wire_v in enumerate((self.wires_v["supply"], self.wires_v["cylinder"])):
            if wire_v is not None:
                volts[:, column] = wire_v
        return volts[:, ::-1] if self.swapped else volts

    def _counts(self, volts: npt.NDArray[np.float64]) -> Counts:
        """`volts` is what the transducers give at their nominal supply; they follow the real one."""
        full_scale_v = self.traits.full_scale_v if self.traits.absolute else self.reference_v
        ratio = volts * (self.reference_v / NOMINAL_REFERENCE_V) / full_scale_v
        codes = np.floor(ratio * (self.traits.top_count + 1))
        return codes.clip(0, self.traits.top_count).astype(np.uint16)

    def _reference(self) -> int:
        if not self.traits.absolute:
            return min(round(self.reference_v * 1e4), 0xFFFF)
        return min(
            int(self.reference_v / self.traits.full_scale_v * (self.traits.top_count + 1)), self.traits.top_count
        )
