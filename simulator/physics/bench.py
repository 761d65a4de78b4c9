"""The whole bench: supply, restrictor, hose, the cylinder it is connected to, and its crank. Time is an argument."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, copysign

from simulator.physics.chamber import Chamber, Ports
from simulator.physics.crank import Crank
from simulator.physics.leaks import LeakPath, Leaks
from simulator.physics.supply import Compressor, Regulator

_HAND_S = 0.1


@dataclass(frozen=True, slots=True)
class BenchTraits:
    """Effective areas of the restrictor and of the vent, hose volume, surroundings, and the longest time step.

    A shut-off valve stands between the supply transducer and the restrictor; the vent is on the cylinder side.
    """

    restrictor_area_m2: float
    vent_area_m2: float
    hose_m3: float
    atmosphere_pa: float
    supply_k: float
    wall_k: float
    heat_w_per_k: float
    longest_step_s: float = 2.5e-3


@dataclass(frozen=True, slots=True)
class Cylinder:
    """One cylinder: its leaks, and how far off top dead centre the mechanic leaves the crank for it."""

    leaks: Leaks
    off_tdc_rad: float = 0.0


class Bench:
    """Call the verbs at the time that `advance` has reached, then advance; `*_gauge_pa` are the true pressures."""

    def __init__(
        self,
        traits: BenchTraits,
        cylinders: Mapping[int, Cylinder],
        crank: Crank,
        compressor: Compressor,
        regulator: Regulator,
    ) -> None:
        self.traits, self.cylinders = traits, cylinders
        self.crank, self.compressor, self.regulator = crank, compressor, regulator
        self.time_s = self.flow_kg_s = 0.0
        self.connected: int | None = None
        self.chamber = Chamber(traits.hose_m3, traits.atmosphere_pa, traits.wall_k, traits.heat_w_per_k)
        self._air_opens_s: float | None = None
        self._ramp_s = self._tapped_m2 = 0.0
        self._vented_m2 = traits.vent_area_m2
        self._squeeze_m3 = self._squeezed_m3 = self._hand_m3_s = 0.0
        self._ports = Ports(
            0.0,
            regulator.gauge_pa + traits.atmosphere_pa,
            traits.supply_k,
            0.0,
            traits.atmosphere_pa,
            traits.supply_k,
        )

    @property
    def supply_gauge_pa(self) -> float:
        return self.regulator.gauge_pa

    @property
    def cylinder_gauge_pa(self) -> float:
        return self.chamber.pressure_pa - self.traits.atmosphere_pa

    # ---- what a mechanic does ----

    def connect(self, number: int, turned_rad: float = 0.0) -> None:
        """Screw the hose into a cylinder, air and vent shut. The crank was turned to this angle from the cylinder's top
        dead centre, and stands off it by what the scenario says of the cylinder."""
        angle_rad = turned_rad + self.cylinders[number].off_tdc_rad
        self.connected = number
        self.crank.place(angle_rad)
        volume = self.traits.hose_m3 + self.crank.geometry.volume_m3(angle_rad)
        self.chamber.fill(volume, self.traits.atmosphere_pa)
        self._squeeze_m3 = self._squeezed_m3 = 0.0
        self._air_opens_s, self._vented_m2 = None, 0.0

    def open_air(self, ramp_s: float) -> None:
        """Turn the shut-off valve from closed to open in `ramp_s`, and shut the vent."""
        self._air_opens_s, self._ramp_s, self._vented_m2 = self.time_s, ramp_s, 0.0

    def vent(self) -> None:
        """Shut the air off and let the cylinder side out."""
        self._air_opens_s, self._vented_m2 = None, self.traits.vent_area_m2

    def open_valve(self, area_m2: float) -> None:
        """A tap holds a valve of the cylinder open this far."""
        self._tapped_m2 = area_m2

    def close_valve(self, path: LeakPath, clears: float, lodged_m2: float = 0.0) -> None:
        """The tap is over; it may have cleared a fraction of the debris of its path, or left some."""
        self._tapped_m2 = 0.0
        if self.connected is not None:
            self.cylinders[self.connected].leaks.clear(path, clears, lodged_m2)

    def squeeze_hose(self, by_m3: float) -> None:
        """A hand takes this much of the volume of the hose, within `_HAND_S`; 0 lets go."""
        self._squeeze_m3 = by_m3
        self._hand_m3_s = abs(by_m3 - self._squeezed_m3) / _HAND_S

    def turn_crank(self, angle_rad: float) -> None:
        """Somebody knocks the crank to this angle; whether it stays there is up to the pressure."""
        before_m3 = self.crank.geometry.volume_m3(self.crank.angle_rad)
        self.crank.place(angle_rad)
        self.chamber.volume_m3 += self.crank.geometry.volume_m3(angle_rad) - before_m3

    # ---- time ----

    def advance(self, to_s: float) -> None:
        """Integrate up to `to_s`. The result depends on the calls only through the times they name."""
        while self.time_s < to_s:
            self._open_ports()
            left_s = to_s - self.time_s
            steps = ceil(left_s / min(self.chamber.longest_step_s(self._ports), self.traits.longest_step_s))
            self._step(left_s / steps)
            self.time_s = to_s if steps == 1 else self.time_s + left_s / steps

    def _open_ports(self) -> None:
        outlet_m2 = self._vented_m2 + self._tapped_m2
        if self.connected is not None:
            outlet_m2 += self.cylinders[self.connected].leaks.total_m2 + self.crank.open_valve_m2
        self._ports.outlet_area_m2 = outlet_m2
        self._ports.supply_area_m2 = self._air_open() * self.traits.restrictor_area_m2

    def _air_open(self) -> float:
        if self._air_opens_s is None:
            return 0.0
        since_s = self.time_s - self._air_opens_s
        return 1.0 if since_s >= self._ramp_s else since_s / self._ramp_s

    def _step(self, dt_s: float) -> None:
        tank_gauge_pa = self.compressor.step(dt_s, self.flow_kg_s)
        supply_gauge_pa = self.regulator.step(dt_s, self.flow_kg_s, tank_gauge_pa)
        self._ports.supply_pa = supply_gauge_pa + self.traits.atmosphere_pa
        growth_m3_s = self._hand(dt_s) if self._squeezed_m3 != self._squeeze_m3 else 0.0
        if self.crank.may_move:
            growth_m3_s += self.crank.step(dt_s, self.cylinder_gauge_pa)
        self.flow_kg_s = self.chamber.step(dt_s, self._ports, growth_m3_s)

    def _hand(self, dt_s: float) -> float:
        """Growth of the hose, m3/s, while a hand closes or opens on it."""
        left_m3 = self._squeeze_m3 - self._squeezed_m3
        moved_m3 = copysign(min(abs(left_m3), self._hand_m3_s * dt_s), left_m3)
        self._squeezed_m3 = self._squeeze_m3 if moved_m3 == left_m3 else self._squeezed_m3 + moved_m3
        return -moved_m3 / dt_s
