"""The slider-crank: where the piston stands, what the air does to the crank, and how far off top dead centre is safe.

Angles are radians of crank from top dead centre, either way. Lengths m, volumes m3, torque N m, pressures gauge, Pa.
The pin is taken to lie on the axis of the cylinder: with an offset e the torque is zero about asin(e / rod) beside the
highest place of the piston. Standard kinematics; no source is needed beyond the triangle of crank, rod and axis.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from daq.records import Floats

NM_PER_LBF_FT = 0.45359237 * 9.80665 * 0.3048
LEAST_RESISTANCE_NM = 1.25 * NM_PER_LBF_FT
MOST_ASSUMED_CYLINDERS = 4
RESISTANCE_CAUTION = (
    "Nobody knows what holds this crank: the resistance is a low guess without a source, and a warm or worn engine has "
    "less. Never rely on it. Hold the crank by a tool made for it, take bar and socket off, stand clear, and begin at "
    "20 psi."
)
Angles = TypeVar("Angles", float, Floats)


@dataclass(frozen=True, slots=True)
class CrankGeometry:
    """Bore, stroke, rod between its centres (longer than half of the stroke), and the volume left at the top."""

    bore_m: float
    stroke_m: float
    rod_length_m: float
    clearance_m3: float | None = None

    @property
    def radius_m(self) -> float:
        return self.stroke_m / 2

    @property
    def area_m2(self) -> float:
        return math.pi / 4 * self.bore_m**2

    @property
    def swept_m3(self) -> float:
        return self.area_m2 * self.stroke_m

    def travel_m(self, angle: Angles) -> Angles:
        """How far the piston has come down. Written so that nothing cancels near top dead centre."""
        r, l = self.radius_m, self.rod_length_m  # noqa: E741
        across = r * np.sin(angle)
        down: Angles = 2 * r * np.sin(angle / 2) ** 2 + across**2 / (l + np.sqrt(l**2 - across**2))
        return down

    def travel_per_rad(self, angle: Angles) -> Angles:
        """Piston travel for each radian of crank, m: the lever on which the gas turns it. Odd in the angle."""
        r = self.radius_m
        across = r * np.sin(angle)
        lever: Angles = across * (1 + r * np.cos(angle) / np.sqrt(self.rod_length_m**2 - across**2))
        return lever

    def torque_nm(self, gauge_pa: float, angle: Angles) -> Angles:
        """What the pressure does to the crank, away from top dead centre."""
        return gauge_pa * self.area_m2 * self.travel_per_rad(angle)

    def volume_m3(self, angle: Angles) -> Angles:
        return self._clearance() + self.area_m2 * self.travel_m(angle)

    def _clearance(self) -> float:
        if self.clearance_m3 is None:
            raise ValueError("volumes need the clearance volume")
        return self.clearance_m3

    @property
    def opening_m3(self) -> float:
        """Kc of `volume = clearance + Kc angle^2 / 2` near top dead centre, m3 for each radian squared."""
        return self.area_m2 * self.radius_m * (1 + self.radius_m / self.rod_length_m)

    @property
    def longest_lever_rad(self) -> float:
        """Where the gas turns the crank most, by the change of sign of the lever's slope."""
        return _root(lambda angle: -self._lever_slope(angle), 0.0, math.pi)

    def _lever_slope(self, angle: float) -> float:
        r, sine, cosine = self.radius_m, math.sin(angle), math.cos(angle)
        rod_up = math.sqrt(self.rod_length_m**2 - (r * sine) ** 2)
        return r * cosine + r**2 * (cosine**2 - sine**2) / rod_up + r**4 * (sine * cosine) ** 2 / rod_up**3

    def tolerable_rad(self, gauge_pa: float, resistance_nm: float) -> float:
        """Up to which angle the pressure does not overcome the resisting torque; pi if it never does."""
        top = self.longest_lever_rad
        if resistance_nm >= self.torque_nm(gauge_pa, top):
            return math.pi
        return _root(lambda angle: self.torque_nm(gauge_pa, angle) - resistance_nm, 0.0, top)


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a curve goes from below zero to above, by halving until the floats end."""
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if rising(middle) < 0 else (low, middle)
    return (low + high) / 2


def assumed_resistance_nm(cylinders: int) -> float:
    """A low guess at the torque that holds a crank with all plugs out: 1.25 lbf ft a cylinder, 5 lbf ft at most.

    Common practice speaks of 5 to 15 lbf ft for a small four and 10 to 30 for a V8; no source. See RESISTANCE_CAUTION.
    """
    return LEAST_RESISTANCE_NM * min(cylinders, MOST_ASSUMED_CYLINDERS)
