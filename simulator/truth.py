"""What an instrument should find: the steady loss of each cylinder at the set point, by the simulator's own physics."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, radians

from simulator.actions import Connect, Tap
from simulator.build import bench_traits, crank_of, leaks_of
from simulator.physics.bench import BenchTraits
from simulator.physics.gas import CP, flow_kg_s
from simulator.physics.leaks import LeakPath, Leaks
from simulator.scenario import Scenario
from simulator.timeline import actions_of
from simulator.units import MM2, PSI

_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class CylinderTruth:
    """One cylinder as it is found, and after all taps of the timeline. Losses in percent of the gauge supply, at the
    set point and behind the restrictor that are named. Areas are effective ones.

    Where the crank does not stand at top dead centre, `open_valve_mm2` is what its valves let through; the losses and
    the total areas hold that too. Where it does not hold (`crank_holds`), they are those of a crank that is held there.
    """

    cylinder: int
    as_found_loss_pct: float
    after_tap_loss_pct: float
    as_found_area_mm2: float
    after_tap_area_mm2: float
    worst_path: str
    as_found_mm2_by_path: dict[str, float]
    after_tap_mm2_by_path: dict[str, float]
    conditions: list[str]
    crank_off_deg: float
    crank_holds: bool
    open_valve_mm2: float
    set_point_psi: float
    restrictor_mm: float
    restrictor_area_mm2: float


@dataclass(frozen=True, slots=True)
class _State:
    """A cylinder at one moment."""

    mm2_by_path: dict[str, float]
    area_m2: float
    loss_pct: float


def truth(scenario: Scenario) -> list[CylinderTruth]:
    """One row for each cylinder, in the order in which they are tested."""
    script, leaks = scenario.played, leaks_of(scenario)
    order = scenario.engine.order if script is None else script.order
    off_deg = [0.0 if script is None else script.off_tdc_deg(step) for step in range(len(order))]
    return [_row(scenario, number, leaks[number], off) for number, off in zip(order, off_deg, strict=True)]


def _row(scenario: Scenario, number: int, leaks: Leaks, turned_deg: float) -> CylinderTruth:
    bench, traits, crank = scenario.bench, bench_traits(scenario), crank_of(scenario)
    own = next(cylinder for cylinder in scenario.cylinder if cylinder.number == number)
    crank.place(radians(turned_deg + own.off_tdc_deg))
    set_point_pa, open_m2 = bench.set_point_psi * PSI, crank.open_valve_m2
    found = _state(traits, leaks, open_m2, set_point_pa)
    for tap in _taps_on(scenario, number):
        for _ in range(tap.count):
            leaks.clear(LeakPath(tap.path), tap.clears, tap.lodges_mm2 * MM2)
    after = _state(traits, leaks, open_m2, set_point_pa)
    return CylinderTruth(
        cylinder=number,
        as_found_loss_pct=found.loss_pct,
        after_tap_loss_pct=after.loss_pct,
        as_found_area_mm2=found.area_m2 / MM2,
        after_tap_area_mm2=after.area_m2 / MM2,
        worst_path=max(LeakPath, key=lambda path: found.mm2_by_path.get(path, 0.0)).value,
        as_found_mm2_by_path=found.mm2_by_path,
        after_tap_mm2_by_path=after.mm2_by_path,
        conditions=[condition.what for condition in scenario.condition if condition.on(number)],
        crank_off_deg=turned_deg + own.off_tdc_deg,
        crank_holds=crank.holds((1.0 - 0.01 * found.loss_pct) * set_point_pa),
        open_valve_mm2=open_m2 / MM2,
        set_point_psi=bench.set_point_psi,
        restrictor_mm=bench.restrictor_mm,
        restrictor_area_mm2=traits.restrictor_area_m2 / MM2,
    )


def _state(traits: BenchTraits, leaks: Leaks, open_m2: float, set_point_pa: float) -> _State:
    by_path = {path.value: area_m2 / MM2 for path, area_m2 in leaks.by_path_m2().items()}
    area_m2 = leaks.total_m2 + open_m2
    return _State(by_path, area_m2, loss_pct(traits, area_m2, set_point_pa))


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
