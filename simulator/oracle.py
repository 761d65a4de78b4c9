"""What an instrument could know at best: the true pressures of a run, without any noise, beside the bytes of a board.

The same scenario runs again with its regulator calm and its compressor smooth; all else happens as before: fill, heat,
droop, taps and hands. Nothing of this reaches a board.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil

from simulator.physics.bench import Bench
from simulator.scenario import Scenario
from simulator.simulation import Simulation
from simulator.timeline import timeline_of

_LONGEST_STEP_S = 5e-3


@dataclass(frozen=True, slots=True)
class TrueState:
    """The bench at one moment of the scenario: true pressures, and the effective area of all leaks of the cylinder that
    is connected (0 for none). A valve that a tap holds open is not among them."""

    time_s: float
    supply_gauge_pa: float
    cylinder_gauge_pa: float
    leak_area_m2: float


def calm(scenario: Scenario) -> Scenario:
    """The scenario without what is random or periodic in its air."""
    return scenario.model_copy(
        update={
            "regulator": scenario.regulator.model_copy(update={"noise_psi": 0.0}),
            "compressor": scenario.compressor.model_copy(update={"ripple_psi": 0.0}),
            "board": scenario.board.model_copy(update={"bare": True, "rate_hz": 1}),
        }
    )


def true_course(scenario: Scenario, until_s: float, step_s: float = 0.02) -> Iterator[TrueState]:
    """The states at each whole number of steps, and at each moment at which something is done (after it is done)."""
    simulation = Simulation(calm(scenario))
    bench = simulation.bench
    bench.traits = replace(bench.traits, longest_step_s=_LONGEST_STEP_S)
    simulation.opened()
    moments = {step * step_s for step in range(1, ceil(until_s / step_s) + 1)}
    moments |= {cue.at_s for cue in timeline_of(scenario).cues if 0.0 < cue.at_s <= until_s}
    for time_s in sorted(moments):
        simulation.advance(time_s)
        simulation.front_end.advance(time_s)
        yield _state(time_s, bench)


def _state(time_s: float, bench: Bench) -> TrueState:
    leak_m2 = 0.0 if bench.connected is None else bench.cylinders[bench.connected].leaks.total_m2
    return TrueState(time_s, bench.supply_gauge_pa, bench.cylinder_gauge_pa, leak_m2)
