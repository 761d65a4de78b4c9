"""Conversions from what a scenario is written in to SI. Inside the simulator everything is SI.

Ref: NIST SP 811 appendix B.
"""

from __future__ import annotations

PSI = 0.45359237 * 9.80665 / 0.0254**2
"""Pascals in one pound-force per square inch."""
KPA = 1e3
MM = 1e-3
MM2 = 1e-6
CC = 1e-6
LITRE = 1e-3
G_S = 1e-3
MS = 1e-3
CELSIUS_0_K = 273.15


def kelvin(celsius: float) -> float:
    """Absolute temperature."""
    return celsius + CELSIUS_0_K
