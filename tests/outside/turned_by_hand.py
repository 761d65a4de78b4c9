"""A crank turned by hand, and the air in the cylinder: an integration of mass and energy that knows nothing of ours.

No polytropic exponent and no small angles: internal energy, heat exchange with the walls, the flow that presses back
through the restrictor, and a hand that speeds up and slows down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from daq.procedure.crank_geometry import CrankGeometry
from daq.records import Floats, Instrument

PSI, ATMOSPHERE, INCH, T0, R_AIR, GAMMA = 6894.757293168361, 101_325.0, 0.0254, 293.15, 287.05, 1.4
ENGINE = CrankGeometry(4.00 * INCH, 3.62 * INCH, 6.1 * INCH, 107.828e-6)
BENCH = Instrument(0.040 * INCH, 0.8, 0.5283, ATMOSPHERE, T0, 100 * PSI, 2 * PSI)
CDA_M2 = 0.8 * math.pi / 4 * (0.040 * INCH) ** 2
REST_S, TICK_S, STEP_S = 3.0, 0.05, 0.005


def passed(ratio: float) -> float:
    """Part of the choked flow at this ratio of pressures: isentropic nozzle."""

    def root(r: float) -> float:
        return math.sqrt(max(r ** (2 / GAMMA) - r ** ((GAMMA + 1) / GAMMA), 0.0))

    critical = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
    return 1.0 if ratio <= critical else root(min(ratio, 1.0)) / root(critical)


def flow(area_m2: float, inlet_pa: float, outlet_pa: float, temperature_k: float = T0) -> float:
    choked = math.sqrt(GAMMA / (R_AIR * temperature_k)) * (2 / (GAMMA + 1)) ** 3 * area_m2
    if inlet_pa >= outlet_pa:
        return choked * inlet_pa * passed(outlet_pa / inlet_pa)
    return -choked * outlet_pa * passed(inlet_pa / outlet_pa)


def leak_area_m2(loss_pct: float) -> float:
    """Of a cylinder that reads so at 100 psi."""
    supply, cylinder = 100 * PSI + ATMOSPHERE, (100 - loss_pct) * PSI + ATMOSPHERE
    return flow(CDA_M2, supply, cylinder) / flow(1.0, cylinder, ATMOSPHERE)


@dataclass(frozen=True)
class Hand:
    """Over the top and back, from `start` to `end` (degrees), at these mean speeds; `waver`: relative."""

    forward: float = 15.0
    back: float = 15.0
    start: float = -35.0
    end: float = 35.0
    waver: float = 0.2

    @property
    def corners_s(self) -> list[float]:
        span = self.end - self.start
        return np.cumsum([0.0, REST_S, span / self.forward, REST_S, span / self.back, REST_S]).tolist()

    def angle(self, t_s: float) -> float:
        """Radians from the top."""
        corners = self.corners_s
        gone = self._gone((t_s - corners[1]) / (corners[2] - corners[1]))
        come = self._gone((t_s - corners[3]) / (corners[4] - corners[3]))
        return math.radians(self.start + (self.end - self.start) * (gone - come))

    def _gone(self, part: float) -> float:
        """Eased in and out over the first and last 15 %, and wavering twice between."""
        x, ease = min(max(part, 0.0), 1.0), 0.15
        y = min(x, 1 - x)
        eased = (y * y / (2 * ease) if y < ease else y - ease / 2) / (1 - ease)
        return (eased if x <= 0.5 else 1 - eased) + self.waver * math.sin(4 * math.pi * x) / (4 * math.pi)


@dataclass(frozen=True)
class Sweep:
    t_s: Floats
    supply_pa: Floats
    cylinder_pa: Floats
    hand: Hand

    def mark_deg(self, tone_s: float, reaction_s: float) -> float:
        return math.degrees(self.hand.angle(tone_s + reaction_s))


def simulated(loss_pct: float, hand: Hand, heat_w_k: float = 1.0, seed: int = 0, supply_pa: float = 20 * PSI) -> Sweep:
    """Ticks of both sensors, with noise and with their offsets."""
    supply, leak = supply_pa + ATMOSPHERE, leak_area_m2(loss_pct)
    cv, cp = R_AIR / (GAMMA - 1), R_AIR * GAMMA / (GAMMA - 1)

    def volume(t: float) -> float:
        return float(ENGINE.volume_m3(hand.angle(t)))

    def change(t: float, state: Floats) -> list[float]:
        mass, temperature = state.tolist()
        growth = (volume(t + 1e-4) - volume(t - 1e-4)) / 2e-4
        pressure = mass * R_AIR * temperature / volume(t)
        into, out = flow(CDA_M2, supply, pressure), flow(leak, pressure, ATMOSPHERE, temperature)
        brought = cp * (T0 if into >= 0 else temperature) * into - cp * temperature * out
        energy = brought - pressure * growth + heat_w_k * (T0 - temperature)
        return [into - out, (energy - cv * temperature * (into - out)) / (mass * cv)]

    low, high = ATMOSPHERE, supply
    for _ in range(60):
        middle = (low + high) / 2
        filling = flow(CDA_M2, supply, middle) > flow(leak, middle, ATMOSPHERE)
        low, high = (middle, high) if filling else (low, middle)
    t = np.arange(0.0, hand.corners_s[-1], STEP_S)
    run = solve_ivp(change, (0, t[-1]), [low * volume(0) / (R_AIR * T0), T0], t_eval=t, rtol=1e-6, max_step=0.02)
    pressure = run.y[0] * R_AIR * run.y[1] / np.array([volume(each) for each in t]) - ATMOSPHERE
    dice, each = np.random.default_rng(seed), round(TICK_S / STEP_S)
    rows = len(t) // each
    noise = dice.normal(0, 70, (2, rows)) + dice.normal(0, 0.1 * PSI, (2, 1))
    ticks = pressure[: rows * each].reshape(rows, each).mean(axis=1) + noise[0]
    return Sweep(t[: rows * each].reshape(rows, each).mean(axis=1), supply_pa + noise[1], ticks, hand)
