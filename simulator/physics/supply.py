"""The air supply: a tank that a compressor fills now and then, and the regulator behind it."""

from __future__ import annotations

from dataclasses import dataclass
from math import copysign, exp, pi, sin

from simulator.physics.gas import R_AIR
from simulator.physics.noise import Wander


@dataclass(frozen=True, slots=True)
class CompressorLimits:
    """Gauge pressures between which the compressor works, what it delivers, and what else in the shop takes air."""

    low_gauge_pa: float
    high_gauge_pa: float
    tank_m3: float
    delivery_kg_s: float
    other_use_kg_s: float
    ripple_pa: float
    ripple_hz: float


class Compressor:
    """Tank pressure as a saw-tooth: dp/dt = R T / V (delivery while running - all that is taken). It ripples then."""

    def __init__(self, limits: CompressorLimits, air_k: float) -> None:
        self.limits, self.running = limits, False
        self._tank_gauge_pa = limits.high_gauge_pa
        self._pa_per_kg = R_AIR * air_k / limits.tank_m3
        self._time_s = 0.0

    def step(self, dt_s: float, taken_kg_s: float) -> float:
        """Gauge pressure of the tank `dt_s` later."""
        limits = self.limits
        delivery = limits.delivery_kg_s if self.running else 0.0
        self._tank_gauge_pa += dt_s * self._pa_per_kg * (delivery - taken_kg_s - limits.other_use_kg_s)
        if self._tank_gauge_pa <= limits.low_gauge_pa:
            self.running = True
        elif self._tank_gauge_pa >= limits.high_gauge_pa:
            self.running = False
        self._time_s += dt_s
        return self.gauge_pa

    @property
    def gauge_pa(self) -> float:
        if not self.running:
            return self._tank_gauge_pa
        return self._tank_gauge_pa + self.limits.ripple_pa * sin(2.0 * pi * self.limits.ripple_hz * self._time_s)


@dataclass(frozen=True, slots=True)
class RegulatorTraits:
    """How far a real regulator is from an ideal one.

    `droop_pa_per_kg_s` is what it loses per flow; the hump is what it first gains, most at `hump_kg_s`;
    `tank_effect` is what it passes on of a change of the tank pressure (Pa per Pa).
    """

    droop_pa_per_kg_s: float
    hump_pa: float
    hump_kg_s: float
    tank_effect: float
    recovery_s: float


class Regulator:
    """Outlet gauge pressure: follows its flow characteristic with one time constant; never above the tank."""

    def __init__(self, set_point_pa: float, traits: RegulatorTraits, tank_middle_pa: float, wander: Wander) -> None:
        self.set_point_pa = self._turned_to_pa = set_point_pa
        self._turn_pa_s = 0.0
        self.droop_to_pa: float | None = None
        self.traits, self._tank_middle_pa, self._wander = traits, tank_middle_pa, wander
        self._outlet_gauge_pa = set_point_pa
        self.gauge_pa = set_point_pa

    def turn(self, to_pa: float, over_s: float) -> None:
        """Turn the set point to this gauge pressure, evenly within `over_s`; 0 is at once."""
        self._turned_to_pa = to_pa
        if over_s > 0.0:
            self._turn_pa_s = abs(to_pa - self.set_point_pa) / over_s
        else:
            self.set_point_pa = to_pa

    def characteristic_pa(self, flow_kg_s: float, tank_gauge_pa: float) -> float:
        """Where the outlet settles at a steady flow. A scripted droop takes the place of the set point."""
        traits = self.traits
        target = self.set_point_pa if self.droop_to_pa is None else self.droop_to_pa
        flow = max(flow_kg_s, 0.0)
        if traits.hump_pa:
            relative = flow / traits.hump_kg_s
            target += traits.hump_pa * relative * exp(1.0 - relative)
        return target - traits.droop_pa_per_kg_s * flow + traits.tank_effect * (tank_gauge_pa - self._tank_middle_pa)

    def step(self, dt_s: float, flow_kg_s: float, tank_gauge_pa: float) -> float:
        """Outlet gauge pressure `dt_s` later, with the flow and the tank pressure of this step."""
        left_pa = self._turned_to_pa - self.set_point_pa
        if left_pa:
            self.set_point_pa += copysign(min(abs(left_pa), self._turn_pa_s * dt_s), left_pa)
        target = self.characteristic_pa(flow_kg_s, tank_gauge_pa)
        follow = 1.0 - exp(-dt_s / self.traits.recovery_s) if self.traits.recovery_s > 0.0 else 1.0
        self._outlet_gauge_pa += follow * (target - self._outlet_gauge_pa)
        self.gauge_pa = min(self._outlet_gauge_pa + self._wander.step(dt_s), tank_gauge_pa)
        return self.gauge_pa
