"""The air of a cylinder that fills through the restrictor: one volume with a mass balance and an energy balance.

    V dp/dt = g R (T1 m_in - T m_out) + (g - 1) hA (T_wall - T),  dM/dt = m_in - m_out,  T = p V / (M R)

Isothermal and adiabatic filling are its limits (hA large, hA nothing). m_in follows the restrictor's own curve at the
supply as measured, m_out is a choked leak. All flows scale with the area of the restrictor, so that area is needed for
the volume alone. Ref: first law for an open volume of ideal gas; flow after ISO 6358-1, see `orifice`.
"""

from __future__ import annotations

import math

import numpy as np

from daq.measure import leakage, orifice
from daq.measure.ticks import TICK_US
from daq.records import Floats, Instrument

PRESSURE, GAS, RATE, LEAK, HEAT, WALL, OFFSET, SHUT = range(8)
"""What is unknown: absolute pressure (all pressures are parts of the absolute set point); temperature of the gas, over
that of the supplied air; logarithms of filling rate (1/s), leak area and heat transfer, each over the area of the
restrictor; wall temperature, as that of the gas; what the cylinder channel reads too high; and the part of the
restrictor's flow that a valve not yet fully open keeps back."""
UNKNOWNS = 8
CHOKED_ABOVE = 1.95
"""Over the atmosphere: from here on the leak is choked."""
OPENING_S = 0.2
"""A hand on the valve is through with what it keeps back within about this time (judgement, no source)."""
_STEPS = 2
_TICK_S = 1e-6 * TICK_US
_CP = orifice.GAMMA * orifice.GAS_CONSTANT / (orifice.GAMMA - 1)
_LOWEST = np.array((0.05, 0.6, -4.0, -5.0, -6.0, 0.6, -0.1, -0.2))
_HIGHEST = np.array((1.5, 1.7, 6.0, 2.5, 5.0, 1.7, 0.1, 0.9))
_LARGEST_LOSS = 0.85  # of the absolute supply, in the table of steady states
_ROUNDS = 4


class FillModel:
    """For one instrument. Unknowns stand in the last axis, in the order above; any axes may come before it."""

    def __init__(self, instrument: Instrument) -> None:
        self.unit_pa = instrument.set_point_pa + instrument.atmosphere_pa
        self._atmosphere = instrument.atmosphere_pa / self.unit_pa
        self._critical_ratio = instrument.critical_ratio
        area_m2 = leakage.restrictor(instrument).effective_area_m2
        flux = orifice.choked_flux(instrument.gas_temperature_k)
        self._rate_m3_s = orifice.GAS_CONSTANT * instrument.gas_temperature_k * flux * area_m2
        self._k_per_w = 1 / (_CP * flux * area_m2 * self.unit_pa)
        ratio = 1.0 - _LARGEST_LOSS * np.linspace(0.0, 1.0, 600) ** 2
        self._steady = orifice.flow_function(ratio, self._critical_ratio) / ratio, ratio

    def rate(self, volume_m3: float) -> float:
        """The unknown RATE of this volume."""
        return math.log(self._rate_m3_s / volume_m3)

    def heat(self, w_per_k: float) -> float:
        """The unknown HEAT of this hA."""
        return math.log(w_per_k * self._k_per_w)

    def volume_m3(self, x: Floats) -> Floats:
        return self._rate_m3_s / np.exp(x[..., RATE])

    def within(self, x: Floats) -> Floats:
        """Brought back into the range in which the model means something."""
        kept: Floats = np.minimum(np.maximum(x, _LOWEST), _HIGHEST)
        return kept

    def after(self, x: Floats, supply: float, step_s: float) -> tuple[Floats, Floats]:
        """The unknowns a step later, and what the cylinder channel reads as the mean of a tick about that moment.

        Exponential Euler with a secant slope, which the stiff end of a tight fill does not upset.
        """
        rate, leak, heat = (np.exp(x[..., unknown]) for unknown in (RATE, LEAK, HEAT))
        wall, open_part = x[..., WALL], 1.0 - x[..., SHUT]
        pressure, gas = x[..., PRESSURE], x[..., GAS]
        step = step_s / _STEPS
        slopes = []
        for _ in range(_STEPS):
            ahead = np.maximum(0.25 * (supply - pressure), 2e-4 * supply)
            inflow, further = open_part * self._inflow(supply, np.stack((pressure, pressure + ahead)))
            root, steep = np.sqrt(gas), (further - inflow) / ahead
            slopes.append(orifice.GAMMA * rate * (inflow - leak * root * pressure + heat * (wall - gas)))
            exponent = np.minimum(orifice.GAMMA * rate * (steep - leak * root), -1e-9) * step
            later = np.maximum(pressure + slopes[-1] * step * np.expm1(exponent) / exponent, _LOWEST[PRESSURE])
            middle = 0.5 * (pressure + later)
            inflow = inflow + steep * (middle - pressure)
            gas, pressure = _mixed(gas, middle, inflow, leak * middle / root, rate * step, heat, wall), later
        last = open_part * self._inflow(supply, pressure) - leak * np.sqrt(gas) * pressure + heat * (wall - gas)
        bend = (orifice.GAMMA * rate * last - slopes[0]) / step_s
        moved = x.copy()
        moved[..., PRESSURE], moved[..., GAS] = pressure, gas
        moved[..., SHUT] *= math.exp(-step_s / OPENING_S)
        return moved, pressure + bend * (_TICK_S**2 / 24) + x[..., OFFSET]

    def _inflow(self, supply: float, pressure: Floats) -> Floats:
        return supply * orifice.flow_function(pressure / supply, self._critical_ratio)

    def end_pct(self, x: Floats, supply: float) -> Floats:
        """The loss when nothing changes any more; the leaking gas is then as warm as flow and wall make it."""
        leak, heat, gas = np.exp(x[..., LEAK]), np.exp(x[..., HEAT]), np.ones(x.shape[:-1])
        flows, ratios = self._steady
        for _ in range(_ROUNDS):
            area = leak / np.sqrt(gas)
            flow = area * supply * np.interp(area, flows, ratios)
            gas = (flow + heat * x[..., WALL]) / (flow + heat)
        ratio = np.interp(leak / np.sqrt(gas), flows, ratios)
        return 100.0 * supply / (supply - self._atmosphere) * (1.0 - ratio)


def _mixed(
    gas: Floats, pressure: Floats, inflow: Floats, outflow: Floats, turned: Floats, heat: Floats, wall: Floats
) -> Floats:
    """The temperature after a step: it goes exponentially to that of what flows in and of the wall."""
    ends = orifice.GAMMA * (heat * wall + inflow)
    turnover = orifice.GAMMA * heat + inflow + (orifice.GAMMA - 1) * outflow
    to: Floats = ends / turnover
    return to + (gas - to) * np.exp(-turned * turnover * gas / pressure)
