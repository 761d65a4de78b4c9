"""What an instrument should find: the steady loss of each cylinder at the set point, by the simulator's own physics."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from simulator.actions import Connect, Tap
from simulator.build import bench_traits, leaks_of
from simulator.physics.bench import BenchTraits
from simulator.physics.gas import CP, flow_kg_s
from simulator.physics.leaks import LeakPath
from simulator.scenario import Scenario
from simulator.timeline import actions_of
from simulator.units import MM2, PSI

_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class CylinderTruth:
    """One cylinder as it is found, and after all taps of the timeline. Losses in percent of the gauge supply."""

    cylinder: int
    as_found_loss_pct: float
    after_tap_loss_pct: float
    as_found_area_mm2: float
    after_tap_area_mm2: float
    worst_path: str


def truth(scenario: Scenario) -> list[CylinderTruth]:
    """One row for each cylinder, in the order of the engine."""
    traits, set_point_pa = bench_traits(scenario), scenario.bench.set_point_psi * PSI
    sections = {cylinder.number: cylinder for cylinder in scenario.cylinder}
    rows = []
    for number in scenario.engine.order:
        leaks = leaks_of(sections[number])
        found_m2 = leaks.total_m2
        worst = max(LeakPath, key=lambda path: leaks.areas_m2.get(path, 0.0) + leaks.debris_m2.get(path, 0.0))
        for tap in _taps_on(scenario, number):
            for _ in range(tap.count):
                leaks.clear(LeakPath(tap.path), tap.clears, tap.lodges_mm2 * MM2)
        found_pct, after_pct = (loss_pct(traits, area_m2, set_point_pa) for area_m2 in (found_m2, leaks.total_m2))
        rows.append(CylinderTruth(number, found_pct, after_pct, found_m2 / MM2, leaks.total_m2 / MM2, worst.value))
    return rows


def loss_pct(traits: BenchTraits, leak_area_m2: float, supply_gauge_pa: float) -> float:
    """Loss where the flow through the restrictor equals that through the leak, by bisection of the pressure between."""
    supply_pa = supply_gauge_pa + traits.atmosphere_pa
    low_pa, high_pa = traits.atmosphere_pa, supply_pa
    for _ in range(_HALVINGS):
        middle_pa = 0.5 * (low_pa + high_pa)
        if _surplus_kg_s(traits, leak_area_m2, supply_pa, middle_pa) > 0.0:
            low_pa = middle_pa
        else:
            high_pa = middle_pa
    return 100.0 * (supply_pa - low_pa) / supply_gauge_pa


def leak_area_m2(traits: BenchTraits, loss_pct: float, supply_gauge_pa: float) -> float:
    """Effective area of the leak that shows this steady loss: the inverse of `loss_pct`, 0 < loss < 100."""
    supply_pa = supply_gauge_pa + traits.atmosphere_pa
    flow_in, out_per_m2 = _flows(traits, supply_pa, supply_pa - 0.01 * loss_pct * supply_gauge_pa)
    return flow_in / out_per_m2


def _surplus_kg_s(traits: BenchTraits, leak_area_m2: float, supply_pa: float, cylinder_pa: float) -> float:
    """Flow in less flow out."""
    flow_in, out_per_m2 = _flows(traits, supply_pa, cylinder_pa)
    return flow_in - leak_area_m2 * out_per_m2


def _flows(traits: BenchTraits, supply_pa: float, cylinder_pa: float) -> tuple[float, float]:
    """Flow in (kg/s) and flow out of each m2 of leak, with the air as warm as a steady flow past the wall makes it."""
    air_k, wall_k, heat = traits.supply_k, traits.wall_k, traits.heat_w_per_k
    flow_in = flow_kg_s(traits.restrictor_area_m2, supply_pa, air_k, cylinder_pa, air_k)
    carried = CP * flow_in
    warmed_k = wall_k if carried == 0.0 or heat == inf else (carried * air_k + heat * wall_k) / (carried + heat)
    return flow_in, flow_kg_s(1.0, cylinder_pa, warmed_k, traits.atmosphere_pa, air_k)


def _taps_on(scenario: Scenario, number: int) -> list[Tap]:
    connected: int | None = None
    taps = []
    for _, action in actions_of(scenario):
        if isinstance(action, Connect):
            connected = action.cylinder
        elif isinstance(action, Tap) and connected == number:
            taps.append(action)
    return taps
