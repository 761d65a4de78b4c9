"""Any split of the rows over calls gives the same bits and the same events, for every stage of the measurement."""

from __future__ import annotations

from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.measure.air import AirMonitor
from daq.measure.board_clock import BoardClock
from daq.measure.calibration import assumed_calibration
from daq.measure.fill import FillEstimator
from daq.measure.leakage import area_ratio, loss_at_set, loss_from_area_ratio, readings
from daq.measure.stability import StabilityMonitor
from daq.measure.supply import SupplyMonitor
from daq.measure.taps import TapDetector
from daq.measure.ticks import TickGrid
from daq.records import Instrument, Pressures, Samples

PSI = 6894.757293168361
INSTRUMENT = Instrument(0.001016, 0.8, 0.45, 101_325.0, 293.15, 100 * PSI, 2 * PSI)


@st.composite
def splits(draw: st.DrawFn, rows: int) -> list[int]:
    cuts = draw(st.lists(st.integers(0, rows), max_size=60)) if draw(st.booleans()) else range(rows)
    return sorted({0, rows, *cuts})


def piece(draw: st.DrawFn, kind: str, level: float, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Supply psi, cylinder psi and time steps of one thing that a bench does."""
    supply, cylinder, step = np.full(n, 100.0), np.full(n, level), np.full(n, 0.05)
    if kind == "tap":
        cylinder -= draw(st.floats(0.5, level)) * np.exp(-np.arange(n) / draw(st.floats(0.5, 8)))
    elif kind == "ramp":
        cylinder = np.linspace(level, draw(st.floats(10.0, 100.0)), n)
    elif kind == "fill":
        cylinder *= 1 - np.exp(-np.arange(n) / draw(st.floats(3, 20)))
    elif kind == "droop":
        supply -= draw(st.floats(0.0, 100.0))
    elif kind == "hose off":
        cylinder[:] = 0.1
    elif kind == "unknown":
        supply[n // 2 :] = cylinder[: n // 3] = np.nan
    elif kind == "gap":
        step[0] = draw(st.floats(0.1, 5.0))
    return supply, cylinder, step


@st.composite
def courses(draw: st.DrawFn) -> Pressures:
    """Pieces in any order: level, ramp, tap, droop, nothing connected, unknown, lost time; with noise."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    kinds = ["level", "level", "tap", "tap", "ramp", "fill", "fill", "droop", "hose off", "unknown", "gap"]
    pieces, level = [piece(draw, "level", 90.0, draw(st.integers(5, 60)))], 90.0
    for kind in draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=8)):
        pieces.append(piece(draw, kind, level, draw(st.integers(5, 60))))
        level = float(pieces[-1][1][-1]) if kind == "ramp" else level
    noise = draw(st.sampled_from([0.0, 0.01, 0.1]))
    supply, cylinder, step = (np.concatenate(column) for column in zip(*pieces, strict=True))
    rows = len(supply)
    low = cylinder - rng.uniform(0, 0.5, rows) * (rng.random(rows) < 0.2)
    columns = [(column + noise * rng.standard_normal(rows)) * PSI for column in (supply, cylinder, low)]
    t_s = np.cumsum(step + rng.uniform(-0.002, 0.002, rows))
    return Pressures(1, t_s, *columns, flags=np.zeros(rows, np.int64))


def part(rows: Any, begin: int, end: int) -> Any:
    arrays = [f.name for f in fields(rows) if isinstance(getattr(rows, f.name), np.ndarray)]
    return replace(rows, **{name: getattr(rows, name)[begin:end] for name in arrays})


def run(pressures: Pressures, cuts: list[int]) -> tuple[list[np.ndarray], list[Any]]:
    """Arrays of all stages, joined, and the events of each stage, for these cuts."""
    supply, air = SupplyMonitor(INSTRUMENT), AirMonitor(INSTRUMENT)
    taps, stability = TapDetector(INSTRUMENT, 100.0), StabilityMonitor(INSTRUMENT, 100.0)
    fill = FillEstimator(INSTRUMENT, assumed_calibration(), 0.0, 100.0)
    columns: list[list[np.ndarray]] = []
    events: tuple[list[Any], ...] = ([], [], [], [], [])
    for begin, end in pairwise(cuts):
        rows = part(pressures, begin, end)
        held, changes = supply.feed(rows)
        found = taps.feed(rows, held)
        stable, windows = stability.feed(rows, held, found)
        shown = readings(rows, held, stable, INSTRUMENT)
        for kept, new in zip(events, (changes, air.feed(rows), found, windows, fill.feed(rows, stable)), strict=True):
            kept.extend(new)
        columns.append([getattr(shown, f.name) for f in fields(shown) if f.name != "segment"])
    return [np.concatenate(column) for column in zip(*columns, strict=True)], list(events)


@settings(max_examples=150, deadline=None)
@given(pressures=courses(), data=st.data())
def test_every_stage_gives_the_same_bits_for_any_split(pressures: Pressures, data: st.DataObject) -> None:
    rows = len(pressures.t_s)
    whole_columns, whole_events = run(pressures, [0, rows])
    columns, events = run(pressures, data.draw(splits(rows)))
    for one, other in zip(whole_columns, columns, strict=True):
        np.testing.assert_array_equal(one.view(np.uint8), other.view(np.uint8))
    assert whole_events == events


@settings(max_examples=100, deadline=None)
@given(
    steps=st.lists(
        st.tuples(st.integers(0, 3), st.integers(0, 200_000_000), st.integers(0, 65_535)), min_size=1, max_size=80
    ),
    start=st.integers(0, 2**32 - 1),
    data=st.data(),
)
def test_clock_and_ticks_give_the_same_for_any_split(
    steps: list[tuple[int, int, int]], start: int, data: st.DataObject
) -> None:
    sequence = (np.cumsum([lost for lost, _, _ in steps]) + 65_500) % 2**16
    clock_us = (np.cumsum([us for _, us, _ in steps]) + start) % 2**32
    counts = np.array([count for _, _, count in steps])

    def run(cuts: list[int]) -> list[np.ndarray]:
        clock, grid, unwrapped, closed = BoardClock(200.0), TickGrid(), [], []
        for begin, end in pairwise(cuts):
            found = clock.feed(sequence[begin:end].astype(np.uint16), clock_us[begin:end].astype(np.uint32))
            assert found.restart_at is None
            unwrapped.append(np.stack((found.t_us, found.missing, found.keep)))
            rows = np.flatnonzero(found.keep)
            count = counts[begin:end][rows]
            closed.append(grid.feed(Samples(0, found.t_us[rows], count, count, count, count & 7)))
        closed.append(grid.finish())
        names = [f.name for f in fields(closed[0]) if f.name != "segment"]
        return [
            np.concatenate(unwrapped, axis=1),
            *(np.concatenate([getattr(ticks, name) for ticks in closed]) for name in names),
        ]

    for one, other in zip(run([0, len(steps)]), run(data.draw(splits(len(steps)))), strict=True):
        np.testing.assert_array_equal(one, other)


@given(
    supply_psi=st.floats(5.1, 150),
    loss=st.floats(0, 99.5),
    critical_ratio=st.floats(0.2, 0.55),
    atmosphere_pa=st.floats(60_000, 105_000),
)
def test_loss_and_area_ratio_are_inverse_everywhere(
    supply_psi: float, loss: float, critical_ratio: float, atmosphere_pa: float
) -> None:
    supply = supply_psi * PSI
    k = area_ratio(supply + atmosphere_pa, supply * (1 - loss / 100) + atmosphere_pa, atmosphere_pa, critical_ratio)
    assert abs(loss_from_area_ratio(k, supply, atmosphere_pa, critical_ratio) - loss) < 1e-7


@given(
    k=st.floats(0.01, 2.0),
    supply_psi=st.tuples(st.floats(60, 150), st.floats(60, 150)),
    atmosphere_pa=st.floats(60_000, 105_000),
)
def test_a_choked_leak_is_carried_between_supplies_exactly(
    k: float, supply_psi: tuple[float, float], atmosphere_pa: float
) -> None:
    one, other = (p * PSI for p in supply_psi)
    read, expected = (float(loss_from_area_ratio(k, p, atmosphere_pa)) for p in (one, other))
    assert abs(float(loss_at_set(read, one, other, atmosphere_pa)) - expected) < 1e-9
