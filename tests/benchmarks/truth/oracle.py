"""What is true of a run at any of its moments, from the simulator's noise-free twin.

*End value* of a moment: the steady loss of the leak that the cylinder has at that moment, at the true supply of that
moment, by the simulator's own balance of mass and energy. *True loss*: 100 (1 - p2/p1) of the twin's pressures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simulator.build import bench_traits
from simulator.oracle import true_course
from simulator.physics.bench import BenchTraits
from simulator.truth import loss_pct
from tests.benchmarks.truth.course import Hold
from tests.benchmarks.truth.draw import Plan
from tests.benchmarks.truth.findings import SETTLED_PCT

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Oracle:
    """True loss and end value, percent, at rising times of the scenario."""

    traits: BenchTraits
    time_s: Floats
    supply_gauge_pa: Floats
    cylinder_gauge_pa: Floats
    leak_m2: Floats
    loss_pct: Floats
    end_pct: Floats

    def end_at(self, time_s: float, at_pa: float | None = None) -> float:
        """The end value, at the true supply of that moment or at another one (gauge Pa); just after a moment at which
        the leak changes it is the new one."""
        row = self._row(time_s)
        supply_pa = float(self.supply_gauge_pa[row]) if at_pa is None else at_pa
        return loss_pct(self.traits, float(self.leak_m2[row]), supply_pa)

    def off_end_at(self, time_s: float) -> float:
        """How far the true loss is from its end value; it may be either side of it."""
        return float(np.interp(time_s, self.time_s, self.loss_pct - self.end_pct))

    def off_end_over(self, from_s: float, to_s: float) -> float:
        """The mean of that over a window."""
        inside = (self.time_s >= from_s) & (self.time_s <= to_s)
        return float((self.loss_pct - self.end_pct)[inside].mean())

    def settled_s(self, hold: Hold) -> float:
        """When the true loss has come within `SETTLED_PCT` of its end value for the rest of the hold, counted from the
        begin of the hold; infinite if it never does."""
        inside = (self.time_s >= hold.from_s) & (self.time_s < hold.to_s)
        off = np.abs((self.loss_pct - self.end_pct)[inside]) > SETTLED_PCT
        if off[-1]:
            return float("inf")
        last = np.flatnonzero(off)
        return 0.0 if not len(last) else float(self.time_s[inside][last[-1] + 1] - hold.from_s)

    def depth_pa(self, blow_s: float, within_s: float) -> float:
        """How far the cylinder pressure falls when a tap opens a valve at `blow_s`."""
        inside = (self.time_s >= blow_s) & (self.time_s <= blow_s + within_s)
        return float(self.cylinder_gauge_pa[self._row(blow_s)] - self.cylinder_gauge_pa[inside].min())

    def _row(self, time_s: float) -> int:
        return int(np.searchsorted(self.time_s, time_s + 1e-9, side="right")) - 1


def ask(plan: Plan) -> Oracle:
    """Run the twin."""
    states = list(true_course(plan.scenario, plan.ends_s))
    time_s, supply_pa, cylinder_pa, leak_m2 = (
        np.array([getattr(state, name) for state in states])
        for name in ("time_s", "supply_gauge_pa", "cylinder_gauge_pa", "leak_area_m2")
    )
    traits, true_pct = bench_traits(plan.scenario), 100.0 * (1.0 - cylinder_pa / supply_pa)
    end_pct = _end_values(traits, leak_m2, supply_pa)
    return Oracle(traits, time_s, supply_pa, cylinder_pa, leak_m2, true_pct, end_pct)


def _end_values(traits: BenchTraits, leak_m2: Floats, supply_pa: Floats) -> Floats:
    """The steady loss hardly depends on the supply: for each leak, a parabola through three supplies will do."""
    low_pa, high_pa = supply_pa.min(), supply_pa.max()
    nodes_pa = np.array([low_pa, 0.5 * (low_pa + high_pa), high_pa + 1.0])
    end_pct = np.empty(len(leak_m2))
    for area_m2 in np.unique(leak_m2):
        nodes_pct = [loss_pct(traits, float(area_m2), float(node_pa)) for node_pa in nodes_pa]
        rows = leak_m2 == area_m2
        end_pct[rows] = _parabola(nodes_pa, nodes_pct, supply_pa[rows])
    return end_pct


def _parabola(nodes: Floats, values: list[float], at: Floats) -> Floats:
    """Ref: Lagrange's form of the polynomial through three points."""
    total = np.zeros(len(at))
    for place, value in enumerate(values):
        others = [node for other, node in enumerate(nodes) if other != place]
        total += value * np.prod([(at - other) / (nodes[place] - other) for other in others], axis=0)
    return total
