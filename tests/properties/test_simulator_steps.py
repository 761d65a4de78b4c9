"""The simulator's promises: the cut of time and of bytes does not matter, and no air is made or lost."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.build import bench_of
from simulator.line import Line, LineTraits
from simulator.physics.leaks import LeakPath
from simulator.scenario import load, parse
from simulator.simulation import Simulation

BUSY = parse(
    """
    title = "everything in three seconds"
    engine = { name = "invented", order = [1] }
    cylinder = [{ number = 1, leaks_mm2 = { exhaust = 0.3 }, debris_mm2 = { exhaust = 0.2 } }]
    transducer = { cylinder = { hysteresis_psi = 0.2, drift_psi_per_min = 1 } }
    board = { clock_ppm = 73.0, first_clock_us = 4294000000 }
    line = { drop_probability = 0.001, flip_probability = 0.001 }
    action = [
        { do = "connect", cylinder = 1, at_s = 0 },
        { do = "air", ramp_s = 0.2, after_s = 0.103 },
        { do = "tap", at_s = 0.8, count = 2, every_s = 0.3, open_ms = 7, area_mm2 = 12, clears = 0.5 },
        { do = "droop", at_s = 0.9, to_psi = 80, for_s = 0.5 },
        { do = "press", at_s = 1.0, for_s = 0.15 },
        { do = "garbage", at_s = 1.2, bytes = 33 },
        { do = "corrupt", at_s = 1.3, lines = 4 },
        { do = "drop_bytes", at_s = 1.4, count = 51 },
        { do = "drop_frames", at_s = 1.5, count = 9 },
        { do = "stuck", at_s = 1.6, channel = "supply", for_s = 0.2 },
        { do = "reference", at_s = 1.7, to_v = 4.4, for_s = 0.2 },
        { do = "crank", at_s = 1.8, to_deg = 6 },
        { do = "turn", at_s = 1.9, to_deg = 2, for_s = 0.17 },
        { do = "set_point", at_s = 1.95, to_psi = 60, over_s = 0.37 },
        { do = "unplug", at_s = 2.0, for_s = 0.3 },
        { do = "reset", at_s = 2.5 },
    ]
    """,
    "busy",
)


def run(cuts: list[float], seed: int) -> bytes:
    simulation = Simulation(BUSY, seed)
    arrived = simulation.feed(b"INIT\n")
    arrived += b"".join(simulation.advance(cut) for cut in sorted({*cuts, 2.2, 2.4}) if cut <= 2.4)
    arrived += simulation.feed(b"@0042 INIT\n")
    return arrived + b"".join(simulation.advance(cut) for cut in sorted({*cuts, 4.0}) if cut > 2.4)


WHOLE = {seed: run([], seed) for seed in (1, 2)}


@settings(max_examples=25, deadline=None)
@given(cuts=st.lists(st.floats(0.0, 4.0), max_size=40), seed=st.sampled_from([1, 2]))
def test_bytes_do_not_depend_on_the_cut_of_time(cuts: list[float], seed: int) -> None:
    assert run(cuts, seed) == WHOLE[seed]


@settings(max_examples=10, deadline=None)
@given(step_s=st.sampled_from([0.001, 0.005, 0.0077, 0.25]))
def test_demonstration_does_not_depend_on_the_step(step_s: float) -> None:
    runs = []
    for size_s in (step_s, 5.0):
        simulation = Simulation(load("four-cylinder"), 1)
        arrived, until_s = simulation.feed(b"INIT\n"), 0.0
        while until_s < 5.0:
            until_s = min(until_s + size_s, 5.0)
            arrived += simulation.advance(until_s)
        runs.append(arrived)
    assert runs[0] == runs[1]


@settings(max_examples=50, deadline=None)
@given(
    data=st.binary(max_size=600),
    sizes=st.lists(st.integers(1, 50), min_size=1, max_size=20),
    corrupt=st.integers(0, 5),
    lose=st.integers(0, 60),
)
def test_line_does_not_depend_on_the_cut_of_bytes(data: bytes, sizes: list[int], corrupt: int, lose: int) -> None:
    arrived = []
    for pieces in ([len(data) or 1], sizes):
        line, rest, got = Line(LineTraits(0.02, 0.02), 7), data, b""
        line.corrupt_lines(corrupt)
        line.drop_bytes(lose)
        while rest:
            for size in pieces:
                got, rest = got + line.carry(rest[:size]), rest[size:]
        arrived.append(got)
    assert arrived[0] == arrived[1]


verbs = st.sampled_from(["air", "vent", "tap", "clear", "droop", "steady"])


@settings(max_examples=40, deadline=None)
@given(moves=st.lists(st.tuples(verbs, st.floats(0.001, 0.5)), max_size=15), heat=st.sampled_from([0.0, 1.0, "inf"]))
def test_no_air_is_made_or_lost(moves: list[tuple[str, float]], heat: float | str) -> None:
    scenario = parse(
        f"""
        title = "t"
        bench = {{ heat_w_per_k = {heat} }}
        engine = {{ name = "invented", order = [1] }}
        cylinder = [{{ number = 1, leaks_mm2 = {{ intake = 0.3 }}, debris_mm2 = {{ intake = 0.2 }} }}]
        """,
        "t",
    )
    bench = bench_of(scenario, seed=1)
    bench.connect(1)
    start_kg = bench.chamber.mass_kg
    do = {
        "air": lambda: bench.open_air(0.1),
        "vent": bench.vent,
        "tap": lambda: bench.open_valve(8e-6),
        "clear": lambda: bench.close_valve(LeakPath.INTAKE, 0.5),
        "droop": lambda: setattr(bench.regulator, "droop_to_pa", 3e5),
        "steady": lambda: setattr(bench.regulator, "droop_to_pa", None),
    }
    for verb, seconds in moves:
        do[verb]()
        bench.advance(bench.time_s + seconds)
        chamber = bench.chamber
        assert chamber.mass_kg - start_kg == pytest.approx(chamber.supplied_kg - chamber.lost_kg, rel=1e-9, abs=1e-15)
        assert -1.0 < bench.cylinder_gauge_pa < 155 * 6894.757
        assert 150.0 < chamber.temperature_k < 450.0
