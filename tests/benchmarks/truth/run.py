"""A plan run: the bytes of its simulated board, through the whole pipeline, once with each calibration."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

from daq.pipeline import Pipeline, run
from daq.procedure import EngineOrder
from daq.records import Calibration, Chunk, Event, Input, LinkUp, Mark, MarkKind, Readings, Record, Samples
from simulator.simulation import render
from tests.benchmarks.truth.draw import Plan
from tests.benchmarks.truth.workshop import NOW_S

Kind = TypeVar("Kind")
TOGETHER = 10
"""Renders that are handed on as one chunk (half a second): any split of the bytes gives the same records."""


@dataclass(frozen=True)
class BoardTime:
    """From the board's clock within the segment of the samples to the time of the scenario."""

    segment: int
    first_t_s: float
    first_s: float
    ticks_per_s: float

    def scenario_s(self, t_s: float) -> float:
        return self.first_s + (t_s - self.first_t_s) / self.ticks_per_s


@dataclass(frozen=True)
class Seen:
    """The events of a run in the segment of its samples, and how its clock is to be read."""

    time: BoardTime
    events: tuple[Event, ...]

    def of(self, kind: type[Kind]) -> list[Kind]:
        return [event for event in self.events if isinstance(event, kind)]


def board_bytes(plan: Plan) -> list[tuple[float, bytes]]:
    """(time, bytes), half a second each."""
    pieces = list(render(plan.scenario, plan.simulation_seed, plan.ends_s))
    groups = (pieces[place : place + TOGETHER] for place in range(0, len(pieces), TOGETHER))
    return [(group[-1][0], b"".join(data for _, data in group)) for group in groups]


def measure(plan: Plan, calibration: Calibration, data: list[tuple[float, bytes]]) -> Seen:
    """All records of a pipeline that is given these bytes."""
    pipeline = Pipeline(plan.instrument, calibration, EngineOrder("random", (1,)))
    records = list(run(pipeline, pipeline_inputs(plan, data)))
    samples = next(record for record in records if isinstance(record, Samples))
    return Seen(board_time(plan, samples), tuple(_events(records, samples.segment)))


def pipeline_inputs(plan: Plan, data: list[tuple[float, bytes]]) -> Iterator[Input]:
    """The mechanic says "next" at the end; what is done with the cylinder is done then."""
    yield LinkUp(NOW_S, plan.board)
    for at_s, piece in data:
        yield Chunk(NOW_S + at_s, piece)
    yield Mark(NOW_S + plan.ends_s, MarkKind.NEXT.value)


def board_time(plan: Plan, first: Samples) -> BoardTime:
    board = plan.scenario.board
    ticks_per_s = 1.0 + 1e-6 * board.clock_ppm
    return BoardTime(first.segment, float(first.t_us[0]) * 1e-6, 1.0 / (board.rate_hz * ticks_per_s), ticks_per_s)


def _events(records: list[Record], segment: int) -> Iterator[Event]:
    for record in records:
        if not isinstance(record, Samples | Readings) and record.segment == segment:
            yield record
