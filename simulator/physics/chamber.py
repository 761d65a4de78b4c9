"""The air in the hose and the cylinder: one volume with a mass balance, an energy balance and a warm wall."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

from simulator.physics.gas import CHOKED, CP, CV, R_AIR, flow_kg_s, steepness


@dataclass(slots=True)
class Ports:
    """What the chamber is open to: effective areas, and the absolute states on the far sides."""

    supply_area_m2: float
    supply_pa: float
    supply_k: float
    outlet_area_m2: float
    outside_pa: float
    outside_k: float


class Chamber:
    """dM/dt = m_in - m_out and dU/dt = h_in m_in - h_out m_out + hA (T_wall - T) - p dV/dt, U = M cv T, p = M R T / V.

    `heat_w_per_k` is hA of the wall: 0 is the adiabatic limit, `inf` the isothermal one (the air is always at the
    temperature of the wall). Integrated with classical Runge-Kutta of fourth order. Pressures are absolute.
    """

    def __init__(self, volume_m3: float, pressure_pa: float, wall_k: float, heat_w_per_k: float) -> None:
        self.wall_k, self.heat_w_per_k = wall_k, heat_w_per_k
        self.supplied_kg = self.lost_kg = 0.0
        self.fill(volume_m3, pressure_pa)

    def fill(self, volume_m3: float, pressure_pa: float) -> None:
        """Start again with this volume, at this pressure and at the temperature of the wall."""
        self.volume_m3 = volume_m3
        self.mass_kg = pressure_pa * volume_m3 / (R_AIR * self.wall_k)
        self.energy_j = self.mass_kg * CV * self.wall_k

    @property
    def temperature_k(self) -> float:
        return self.energy_j / (self.mass_kg * CV)

    @property
    def pressure_pa(self) -> float:
        return self.energy_j * R_AIR / (CV * self.volume_m3)

    def longest_step_s(self, ports: Ports) -> float:
        """Longest time step that stays well inside the stability of Runge-Kutta with these ports, as things stand."""
        here_pa = self.pressure_pa
        steep_m2 = ports.supply_area_m2 * steepness(_between(here_pa, ports.supply_pa))
        steep_m2 += ports.outlet_area_m2 * (1.0 + steepness(_between(here_pa, ports.outside_pa)))
        fastest_per_s = steep_m2 * CHOKED * R_AIR * sqrt(self.wall_k) / self.volume_m3
        return 0.7 / fastest_per_s if fastest_per_s > 0.0 else inf

    def step(self, dt_s: float, ports: Ports, growth_m3_s: float = 0.0) -> float:
        """Advance by `dt_s` while the volume grows by `growth_m3_s`; returns the mean flow in from the supply, kg/s."""
        mass, energy, volume = self.mass_kg, self.energy_j, self.volume_m3
        half = 0.5 * dt_s
        in1, out1, heat1 = self._rates(mass, energy, volume, ports, growth_m3_s)
        middle = volume + half * growth_m3_s
        in2, out2, heat2 = self._rates(mass + half * (in1 - out1), energy + half * heat1, middle, ports, growth_m3_s)
        in3, out3, heat3 = self._rates(mass + half * (in2 - out2), energy + half * heat2, middle, ports, growth_m3_s)
        self.volume_m3 = volume + dt_s * growth_m3_s
        in4, out4, heat4 = self._rates(
            mass + dt_s * (in3 - out3), energy + dt_s * heat3, self.volume_m3, ports, growth_m3_s
        )
        flow_in = (in1 + 2.0 * (in2 + in3) + in4) / 6.0
        flow_out = (out1 + 2.0 * (out2 + out3) + out4) / 6.0
        self.supplied_kg += dt_s * flow_in
        self.lost_kg += dt_s * flow_out
        self.mass_kg = mass + dt_s * (flow_in - flow_out)
        self.energy_j = energy + dt_s * (heat1 + 2.0 * (heat2 + heat3) + heat4) / 6.0
        if self.heat_w_per_k == inf:
            self.energy_j = self.mass_kg * CV * self.wall_k
        return flow_in

    def _rates(
        self, mass: float, energy: float, volume: float, ports: Ports, growth_m3_s: float
    ) -> tuple[float, float, float]:
        """Flow in, flow out (kg/s) and rate of energy (W)."""
        isothermal = self.heat_w_per_k == inf
        here_k = self.wall_k if isothermal else energy / (mass * CV)
        here_pa = mass * R_AIR * here_k / volume
        flow_in = flow_kg_s(ports.supply_area_m2, ports.supply_pa, ports.supply_k, here_pa, here_k)
        flow_out = flow_kg_s(ports.outlet_area_m2, here_pa, here_k, ports.outside_pa, ports.outside_k)
        if isothermal:
            return flow_in, flow_out, 0.0
        in_k = ports.supply_k if flow_in > 0.0 else here_k
        out_k = here_k if flow_out > 0.0 else ports.outside_k
        heat = self.heat_w_per_k * (self.wall_k - here_k) - here_pa * growth_m3_s
        return flow_in, flow_out, CP * (flow_in * in_k - flow_out * out_k) + heat


def _between(one_pa: float, other_pa: float) -> float:
    """Pressure ratio of a flow between the two, whichever way it goes."""
    return one_pa / other_pa if one_pa < other_pa else other_pa / one_pa
