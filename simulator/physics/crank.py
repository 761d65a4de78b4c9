"""Slider-crank: what the pressure in a cylinder does to a crank that is not quite at top dead centre.

Ref: slider-crank kinematics (standard mechanics), the pin offset is neglected. Friction figures are common practice,
no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import copysign, cos, pi, radians, sin, sqrt


@dataclass(frozen=True, slots=True)
class CrankGeometry:
    """Bore, stroke, rod (m) and the clearance volume at top dead centre (m3). Angles in radians from there."""

    bore_m: float
    stroke_m: float
    rod_m: float
    clearance_m3: float

    @property
    def piston_area_m2(self) -> float:
        return 0.25 * pi * self.bore_m**2

    def travel_m(self, angle_rad: float) -> float:
        """How far the piston is below its top position."""
        throw = 0.5 * self.stroke_m
        return throw * (1.0 - cos(angle_rad)) + self.rod_m - sqrt(self.rod_m**2 - (throw * sin(angle_rad)) ** 2)

    def travel_per_rad(self, angle_rad: float) -> float:
        """ds/dtheta, m/rad."""
        throw = 0.5 * self.stroke_m
        leg = sqrt(self.rod_m**2 - (throw * sin(angle_rad)) ** 2)
        return throw * sin(angle_rad) * (1.0 + throw * cos(angle_rad) / leg)

    def volume_m3(self, angle_rad: float) -> float:
        return self.clearance_m3 + self.piston_area_m2 * self.travel_m(angle_rad)

    def torque_n_m(self, angle_rad: float, gauge_pa: float) -> float:
        """Torque of the gas on the crank; it turns the crank away from top dead centre."""
        return gauge_pa * self.piston_area_m2 * self.travel_per_rad(angle_rad)


@dataclass(frozen=True, slots=True)
class CrankTraits:
    """What resists: dry friction and inertia; and where the exhaust valve begins to open, and how far it does. The
    intake valve is taken to close as far before top dead centre of compression as the exhaust valve opens after it."""

    friction_n_m: float
    inertia_kg_m2: float
    valve_opens_rad: float
    valve_area_m2: float


_VALVE_RAMP_RAD = radians(20.0)
_ARRIVED = 1.0 + 1e-9
"""A hand is where it wanted to be in spite of the rounding of its many small steps."""


class Crank:
    """I dw/dt = gas torque - friction. It stays where it is until the gas torque exceeds the friction. A hand that has
    taken it turns it evenly, whatever the pressure."""

    def __init__(self, geometry: CrankGeometry, traits: CrankTraits) -> None:
        self.geometry, self.traits = geometry, traits
        self.angle_rad = self.speed_rad_s = 0.0
        self._led_to_rad: float | None = None
        self._led_rad_s = 0.0

    def place(self, angle_rad: float) -> None:
        """Put the crank to this angle and let go."""
        self.angle_rad = angle_rad
        self.let_go()

    def take(self, to_rad: float, within_s: float) -> None:
        """A hand takes the crank, turns it to this angle within that time, and holds it."""
        self._led_to_rad, self._led_rad_s = to_rad, abs(to_rad - self.angle_rad) / within_s

    def let_go(self) -> None:
        """No hand holds it any more; it is at rest."""
        self._led_to_rad, self.speed_rad_s = None, 0.0

    @property
    def may_move(self) -> bool:
        """False where nothing can turn it: at top dead centre, with no hand on it."""
        return self.angle_rad != 0.0 or self._led_to_rad is not None

    def holds(self, gauge_pa: float) -> bool:
        """Whether a crank at rest stays where it is under this pressure."""
        return abs(self.geometry.torque_n_m(self.angle_rad, gauge_pa)) <= self.traits.friction_n_m

    def step(self, dt_s: float, gauge_pa: float) -> float:
        """Move for `dt_s` under this pressure; returns the growth of the cylinder volume, m3/s."""
        if self._led_to_rad is not None:
            return self._led(dt_s, self._led_to_rad)
        if self.speed_rad_s == 0.0 and self.holds(gauge_pa):
            return 0.0
        torque, friction = self.geometry.torque_n_m(self.angle_rad, gauge_pa), self.traits.friction_n_m
        before_m3, before_rad_s = self.geometry.volume_m3(self.angle_rad), self.speed_rad_s
        ahead = before_rad_s if before_rad_s != 0.0 else torque
        resisting = friction if ahead > 0.0 else -friction
        self.speed_rad_s += dt_s * (torque - resisting) / self.traits.inertia_kg_m2
        if before_rad_s * self.speed_rad_s < 0.0:
            self.speed_rad_s = 0.0
        self.angle_rad += dt_s * self.speed_rad_s
        return (self.geometry.volume_m3(self.angle_rad) - before_m3) / dt_s

    def _led(self, dt_s: float, to_rad: float) -> float:
        before_m3, left_rad = self.geometry.volume_m3(self.angle_rad), to_rad - self.angle_rad
        if abs(left_rad) <= self._led_rad_s * dt_s * _ARRIVED:
            self.angle_rad = to_rad
        else:
            self.angle_rad += copysign(self._led_rad_s * dt_s, left_rad)
        return (self.geometry.volume_m3(self.angle_rad) - before_m3) / dt_s

    @property
    def open_valve_m2(self) -> float:
        """Effective area of the valves that are open at this angle: shut around top dead centre of compression, open
        from there on to either side, where they overlap a turn away as well."""
        lift = (abs(self.angle_rad) - self.traits.valve_opens_rad) / _VALVE_RAMP_RAD
        return self.traits.valve_area_m2 * min(max(lift, 0.0), 1.0)
