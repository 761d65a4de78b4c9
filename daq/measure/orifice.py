"""Flow of air through a nozzle or an orifice. All pressures are absolute, Pa.

Two forms. The isentropic nozzle with an effective area (discharge coefficient times area; standard gas dynamics),
and the form of ISO 6358-1 with sonic conductance C and critical ratio b. Both put mass flow as
`choked flow * flow_function(outlet / inlet)`. All functions take floats or arrays and broadcast.
"""

from __future__ import annotations

import math

import numpy as np

from daq.records import Floats

GAMMA = 1.4
GAS_CONSTANT = 287.05
"""Specific gas constant of dry air, J/(kg K)."""
CRITICAL_RATIO = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
"""Outlet over inlet pressure below which an ideal nozzle is choked: 0.5283."""
LINEAR_ABOVE = 0.999
"""The flow function is a straight line to zero from here on: its slope would be infinite at equal pressures."""
ANR_DENSITY = 1.185
"""Density of the reference atmosphere of ISO 8778 (100 kPa, 20 C, 65 % humidity), kg/m3; value from memory."""
ANR_TEMPERATURE_K = 293.15

_STEP = (GAMMA - 1) / GAMMA
_PEAK = (2 / (GAMMA + 1)) ** 5 * (1 - 2 / (GAMMA + 1))


def choked_flux(temperature_k: float) -> float:
    """Choked mass flow for each unit of effective area and inlet pressure, s/m."""
    return math.sqrt(GAMMA / (GAS_CONSTANT * temperature_k)) * (2 / (GAMMA + 1)) ** 3  # (g + 1) / (2 (g - 1)) = 3


def flow_function(ratio: Floats | float, critical_ratio: float = CRITICAL_RATIO) -> Floats:
    """Flow as a part of choked flow, 0 to 1, at outlet / inlet = `ratio`; 0 for `ratio` >= 1.

    The isentropic curve; for another critical ratio than the ideal one its unchoked branch is stretched, as the
    ellipse of ISO 6358-1 is, from which it differs by 0.3 % at most.
    """
    drop = (1.0 - ratio) * ((1 - CRITICAL_RATIO) / (1 - critical_ratio))
    # (1 - drop)**(2/7), kept between the choke point and the linear patch; then y^5 (1 - y) is the square of the curve.
    y = np.minimum(np.maximum(1.0 - drop, CRITICAL_RATIO), LINEAR_ABOVE) ** _STEP
    y2 = y * y
    patch = np.minimum(np.maximum(drop, 0.0) * (1 / (1 - LINEAR_ABOVE)), 1.0)
    part: Floats = np.sqrt(y2 * y2 * y * (1.0 - y) * (1 / _PEAK)) * patch
    return part


def mass_flow(
    effective_area_m2: Floats | float,
    inlet_pa: Floats | float,
    outlet_pa: Floats | float,
    temperature_k: float = ANR_TEMPERATURE_K,
    critical_ratio: float = CRITICAL_RATIO,
) -> Floats:
    """Mass flow through a nozzle of this effective area, kg/s; `inlet_pa` must be above zero."""
    choked = effective_area_m2 * choked_flux(temperature_k) * inlet_pa
    return choked * flow_function(np.divide(outlet_pa, inlet_pa), critical_ratio)


def iso6358_flow_function(ratio: Floats | float, critical_ratio: float) -> Floats:
    """The subsonic ellipse of ISO 6358-1, exponent 0.5; 1 when choked, 0 for `ratio` >= 1."""
    x = (np.minimum(np.maximum(ratio, critical_ratio), 1.0) - critical_ratio) / (1 - critical_ratio)
    return np.sqrt(1.0 - x * x)


def iso6358_mass_flow(
    conductance: Floats | float,
    critical_ratio: float,
    inlet_pa: Floats | float,
    outlet_pa: Floats | float,
    temperature_k: float = ANR_TEMPERATURE_K,
) -> Floats:
    """Mass flow after ISO 6358-1, kg/s, of a part with sonic conductance m3/(s Pa) and this critical ratio."""
    choked = conductance * ANR_DENSITY * math.sqrt(ANR_TEMPERATURE_K / temperature_k) * inlet_pa
    return choked * iso6358_flow_function(np.divide(outlet_pa, inlet_pa), critical_ratio)


def sonic_conductance(effective_area_m2: float) -> float:
    """ISO 6358-1 sonic conductance, m3/(s Pa), of the part that chokes at the same flow as this effective area."""
    return effective_area_m2 * choked_flux(ANR_TEMPERATURE_K) / ANR_DENSITY


def effective_area(conductance: float) -> float:
    """The inverse of `sonic_conductance`, m2."""
    return conductance * ANR_DENSITY / choked_flux(ANR_TEMPERATURE_K)


def circle_area(diameter_m: float) -> float:
    return math.pi / 4 * diameter_m * diameter_m
