"""Air as an ideal gas, and its flow through a nozzle.

Ref: isentropic flow of an ideal gas (standard gas dynamics). The effective area is the discharge coefficient times
the geometric area. Real air flows 0.1 to 0.5 % more at the pressures of a shop.
"""

from __future__ import annotations

from math import sqrt

GAMMA = 1.4
R_AIR = 287.05
"""J/(kg K), dry air."""
CP = GAMMA * R_AIR / (GAMMA - 1.0)
CV = R_AIR / (GAMMA - 1.0)

CRITICAL_RATIO: float = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
CHOKED: float = sqrt(GAMMA / R_AIR) * (2.0 / (GAMMA + 1.0)) ** ((GAMMA + 1.0) / (2.0 * (GAMMA - 1.0)))
"""Choked flow is CHOKED * effective area * upstream pressure / sqrt(upstream temperature)."""

LINEAR_ABOVE = 0.999
"""Pressure ratio above which the flow is taken linear in the pressure difference. The ideal curve goes with its square
root, whose slope is infinite at no difference; real openings turn laminar there. Ref: ISO 6358 simulation blocks
do the same between 0.995 and 0.999."""

_INVERSE_GAMMA = 1.0 / GAMMA


def _subsonic(ratio: float) -> float:
    x: float = ratio**_INVERSE_GAMMA
    return x * (x - ratio)


_SUBSONIC_AT_CRITICAL = _subsonic(CRITICAL_RATIO)
_FRACTION_AT_PATCH = sqrt(_subsonic(LINEAR_ABOVE) / _SUBSONIC_AT_CRITICAL)

STEEPEST = _FRACTION_AT_PATCH / (1.0 - LINEAR_ABOVE)
"""The largest slope of `choked_fraction` against the pressure ratio."""
_SLOPE_GROWS_AS = 1.4


def choked_fraction(ratio: float) -> float:
    """Mass flow over choked mass flow at the same upstream state, for downstream/upstream absolute pressure <= 1."""
    if ratio <= CRITICAL_RATIO:
        return 1.0
    if ratio > LINEAR_ABOVE:
        return STEEPEST * (1.0 - ratio)
    return sqrt(_subsonic(ratio) / _SUBSONIC_AT_CRITICAL)


def steepness(ratio: float) -> float:
    """At least the slope of `choked_fraction` at this ratio; it bounds the time step of a simulation."""
    return STEEPEST if ratio > LINEAR_ABOVE else _SLOPE_GROWS_AS / sqrt(1.0 - ratio)


def flow_kg_s(area_m2: float, from_pa: float, from_k: float, to_pa: float, to_k: float) -> float:
    """Mass flow through an effective area between two absolute stagnation states; negative when it runs back."""
    if from_pa >= to_pa:
        return CHOKED * area_m2 * from_pa / sqrt(from_k) * choked_fraction(to_pa / from_pa)
    return -CHOKED * area_m2 * to_pa / sqrt(to_k) * choked_fraction(from_pa / to_pa)
