"""What a stability test is given on a random bench, and what is true of it: the rows of its ticks beside the oracle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.measure.calibration import resolution_pa
from daq.pipeline import Pipeline, run
from daq.procedure import EngineOrder
from daq.records import Instrument, Pressures, Readings, Samples, Tap
from tests.benchmarks.truth.course import Hold
from tests.benchmarks.truth.draw import draw
from tests.benchmarks.truth.findings import SETTLED_PCT
from tests.benchmarks.truth.oracle import ask
from tests.benchmarks.truth.run import board_bytes, board_time, pipeline_inputs

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Rows:
    """The ticks of one bench in the paired calibration, each with how far the true loss was from its end value.

    `time_s` is that of the scenario, as are the holds; `settled_s` says for each hold when the oracle had settled.
    """

    number: int
    instrument: Instrument
    resolution_pa: float
    pressures: Pressures
    held: Bools
    taps: tuple[Tap, ...]
    time_s: Floats
    off_end_pct: Floats
    holds: tuple[Hold, ...]
    settled_s: tuple[float, ...]

    @property
    def settled(self) -> Bools:
        """Within 0.1 point of the end, and under air: what may be called stable."""
        air = (self.time_s >= self.holds[0].from_s) & (self.time_s <= self.holds[-1].to_s)
        return air & (np.abs(self.off_end_pct) <= SETTLED_PCT)


def rows_of(population: str, seed: int, number: int) -> Rows:
    """Simulate a bench, run the pipeline, and ask the oracle."""
    plan = draw(population, seed, number)
    calibration, oracle = plan.calibrations.paired or plan.calibrations.data_sheet, ask(plan)
    pipeline = Pipeline(plan.instrument, calibration, EngineOrder("random", (1,)))
    records = list(run(pipeline, pipeline_inputs(plan, board_bytes(plan))))
    samples = next(record for record in records if isinstance(record, Samples))
    found = [record for record in records if isinstance(record, Readings) and record.segment == samples.segment]
    joined = {name: np.concatenate([getattr(each, name) for each in found]) for name in COLUMNS}
    time_s = board_time(plan, samples).scenario_s(joined["t_s"])
    return Rows(
        number,
        plan.instrument,
        resolution_pa(plan.board, calibration, float(samples.reference[0])),
        _pressures(samples.segment, joined),
        joined["supply_held"],
        tuple(record for record in records if isinstance(record, Tap) and record.segment == samples.segment),
        time_s,
        np.interp(time_s, oracle.time_s, oracle.loss_pct - oracle.end_pct),
        plan.holds,
        tuple(oracle.settled_s(hold) for hold in plan.holds),
    )


COLUMNS = ("t_s", "supply_gauge_pa", "cylinder_gauge_pa", "supply_held", "flags")


def _pressures(segment: int, joined: dict[str, npt.NDArray[np.generic]]) -> Pressures:
    """The stability test has no use for the lowest sample of a tick."""
    t_s, supply_pa, cylinder_pa, _, flags = (joined[name] for name in COLUMNS)
    return Pressures(segment, t_s, supply_pa, cylinder_pa, cylinder_pa, flags)
