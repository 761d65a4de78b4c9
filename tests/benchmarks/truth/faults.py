"""Benches on which one thing goes wrong: is it told, by its name, and is nothing else told?

The other benches are the judge of false alarms; these are the judge of missed ones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import pi

from daq.records import BoardFault, Event, Fault, SupplyChange, SupplyState
from simulator.actions import Action, Air, Connect, CrankRoll, Droop, Reference, SetPoint, Stuck, Swap, Tap, Vent, Wire
from simulator.physics.gas import CHOKED, CP, CV, R_AIR
from simulator.units import CC, KPA, MM, PSI, kelvin
from tests.benchmarks.truth.course import AIR_ON_S, VENT_S
from tests.benchmarks.truth.dice import Dice
from tests.benchmarks.truth.draw import Plan, draw
from tests.benchmarks.truth.run import board_bytes, measure

FIRST_NUMBER = 1_000_000
"""Numbers of faulty benches begin here."""
LASTS_S = 7.0
VENTED_S = 6.0
A_TICK_S = 0.05
"""A row that holds the begin of a fault carries the mean time of its samples."""


@dataclass(frozen=True)
class Kind:
    """`told` are the words that will do; `happens` gives the actions, at a time, on a bench with this set point (psi).

    What is wrong from the start is seen while the line is still vented, so that lasts longer then; `half_full` is when
    the cylinder holds some half of what it will.
    """

    name: str
    told: tuple[str, ...]
    happens: Callable[[Dice, float, float], list[Action]]
    from_the_start: bool = False
    while_filling: bool = False
    half_full: bool = False


KINDS = (
    Kind(
        "crank rolls off",
        ("crank-moved",),
        lambda dice, at_s, _: [CrankRoll(do="crank", at_s=at_s, to_deg=dice.between((12.0, 25.0)))],
    ),
    Kind(
        "hose begins to leak",
        ("crank-moved", "hose-leaks"),
        lambda dice, at_s, _: [_open(at_s, dice.log((0.5, 2.0)))],
    ),
    Kind(
        "hose off while filling",
        ("air-lost", "hose-off"),
        lambda dice, at_s, _: [_open(at_s, 60.0)],
        while_filling=True,
    ),
    Kind(
        "supply sensor stuck",
        ("supply-sensor-stuck",),
        lambda dice, at_s, _: [
            Stuck(do="stuck", channel="supply", at_s=at_s, for_s=LASTS_S),
            Vent(do="vent", at_s=at_s + 3.0),
        ],
    ),
    Kind(
        "cylinder sensor stuck",
        ("cylinder-sensor-stuck",),
        lambda dice, at_s, set_point_psi: [
            Stuck(do="stuck", channel="cylinder", at_s=at_s, for_s=LASTS_S),
            SetPoint(do="set_point", at_s=at_s + 3.0, to_psi=dice.between((0.4, 0.8)) * set_point_psi),
        ],
    ),
    Kind("supply wire broken", ("supply-sensor-open",), lambda dice, at_s, _: [_wire(at_s, "supply", 0.0)]),
    Kind("cylinder wire broken", ("cylinder-sensor-open",), lambda dice, at_s, _: [_wire(at_s, "cylinder", 0.0)]),
    Kind("supply wire at 5 V", ("sensor-saturated",), lambda dice, at_s, _: [_wire(at_s, "supply", 5.0)]),
    Kind("cylinder wire at 5 V", ("sensor-saturated",), lambda dice, at_s, _: [_wire(at_s, "cylinder", 5.0)]),
    Kind(
        "channels swapped",
        ("channels-swapped",),
        lambda dice, at_s, _: [Swap(do="swap", at_s=0.0, for_s=100.0)],
        from_the_start=True,
    ),
    Kind(
        "overpressure",
        ("overpressure",),
        lambda dice, at_s, psi: [SetPoint(do="set_point", at_s=at_s, to_psi=psi + dice.between((16.0, 25.0)))],
    ),
    Kind(
        "supply lost",
        ("supply-lost",),
        lambda dice, at_s, psi: [
            Droop(do="droop", at_s=at_s, to_psi=dice.between((0.0, 0.9)) * psi, for_s=dice.between((2.0, 4.0)))
        ],
    ),
    Kind(
        "sensor supply sags",
        ("reference-low",),
        lambda dice, at_s, _: [Reference(do="reference", at_s=at_s, to_v=dice.between((4.0, 4.7)), for_s=2.0)],
    ),
    Kind(
        "cylinder sensor stuck while filling",
        ("cylinder-sensor-stuck",),
        lambda dice, at_s, _: [Stuck(do="stuck", channel="cylinder", at_s=at_s, for_s=LASTS_S)],
        half_full=True,
    ),
)


def _open(at_s: float, area_mm2: float) -> Tap:
    """An opening that stays."""
    return Tap(do="tap", at_s=at_s, open_ms=1e3 * LASTS_S, area_mm2=area_mm2)


def _wire(at_s: float, channel: str, to_v: float) -> Wire:
    return Wire.model_validate({"do": "wire", "at_s": at_s, "channel": channel, "to_v": to_v, "for_s": LASTS_S})


@dataclass(frozen=True)
class FaultFinding:
    """`late_s` is the time until it was told, None if it never was; `besides` are faults that are none here."""

    number: int
    kind: str
    late_s: float | None
    besides: tuple[str, ...]


def kind_of(number: int) -> Kind:
    return KINDS[(number - FIRST_NUMBER) % len(KINDS)]


def draw_faulty(population: str, seed: int, number: int) -> Plan:
    """Bench `number`, from `FIRST_NUMBER` on: an ordinary one up to the end of its first hold, then the fault."""
    plan, kind, dice = draw(population, seed, number), kind_of(number), Dice(population, seed, number)
    at_s = _at_s(plan, kind)
    vent_s = plan.holds[0].to_s + LASTS_S
    set_point_psi = plan.instrument.set_point_pa / PSI
    begin = [_begin(action, kind) for action in plan.scenario.action if isinstance(action, Connect | Air)]
    actions = [*begin, *kind.happens(dice, at_s, set_point_psi), Vent(do="vent", at_s=vent_s)]
    easy = plan.scenario.engine.model_copy(update={"friction_n_m": 3.0})
    strong = plan.scenario.compressor.model_copy(
        update={"high_psi": set_point_psi + 60.0, "low_psi": set_point_psi + 45.0}
    )
    scenario = plan.scenario.model_copy(update={"action": actions, "engine": easy, "compressor": strong})
    limit_pa = plan.instrument.set_point_pa + 10.0 * PSI
    instrument = replace(plan.instrument, hose_limit_pa=limit_pa)
    return replace(plan, scenario=scenario, instrument=instrument, blows_s=(), ends_s=vent_s + VENT_S)


def _begin(action: Connect | Air, kind: Kind) -> Action:
    later = kind.from_the_start and isinstance(action, Air)
    return action.model_copy(update={"at_s": VENTED_S}) if later else action


def judge_faulty(plan: Plan) -> FaultFinding:
    kind = kind_of(plan.number)
    seen = measure(plan, plan.calibrations.paired or plan.calibrations.data_sheet, board_bytes(plan))
    told = [(seen.time.scenario_s(event.t_s), word) for event in seen.events if (word := _word(event))]
    at_s = _at_s(plan, kind)
    late_s = next((time_s - at_s for time_s, word in told if time_s >= at_s - A_TICK_S and word in kind.told), None)
    named = [event.fault for event in seen.of(Fault) if not event.over]
    return FaultFinding(plan.number, kind.name, late_s, tuple(word for word in named if word not in kind.told))


def _at_s(plan: Plan, kind: Kind) -> float:
    if kind.from_the_start:
        return 0.0
    if kind.half_full:
        return AIR_ON_S + _half_full_s(plan)
    return AIR_ON_S + 0.8 if kind.while_filling else plan.holds[0].to_s


def _half_full_s(plan: Plan) -> float:
    """From the opening of the air, with nothing lost yet: choked flow through the restrictor, which opens evenly."""
    scenario, bench = plan.scenario, plan.scenario.bench
    ramp_s = next(action.ramp_s for action in scenario.action if isinstance(action, Air))
    area_m2 = bench.discharge_coefficient * 0.25 * pi * (bench.restrictor_mm * MM) ** 2
    supply_pa, air_k = bench.set_point_psi * PSI + bench.atmosphere_kpa * KPA, kelvin(bench.air_c)
    volume_m3 = (scenario.engine.clearance_cc + bench.hose_cc) * CC
    pa_per_s = CP / CV * R_AIR * air_k**0.5 * CHOKED * area_m2 * supply_pa / volume_m3
    open_s = 0.5 * bench.set_point_psi * PSI / pa_per_s
    return (2 * ramp_s * open_s) ** 0.5 if open_s < ramp_s / 2 else ramp_s / 2 + open_s


def _word(event: Event) -> str:
    match event:
        case Fault(over=False) | BoardFault():
            return event.fault
        case SupplyChange(state=SupplyState.LOST):
            return "supply-lost"
        case _:
            return ""
