"""A whole scenario running, without any line or clock."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from daq.wire import (
    BadFrame,
    BareBlock,
    BareDecoder,
    Boot,
    Decoder,
    Flag,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
    ResetCause,
    SampleBlock,
)
from simulator.scenario import Scenario, load
from simulator.simulation import Simulation, render
from simulator.truth import truth

PSI = 6894.757293168361
AIR = '\naction = [{ do = "connect", cylinder = 1, at_s = 0 }, { do = "air", ramp_s = 0, at_s = 1 }, %s]'
Quiet = Callable[[str], Scenario]


def frames(data: bytes) -> list[Frame]:
    return Decoder().feed(data)


def started(scenario: Scenario, seed: int = 1) -> Simulation:
    simulation = Simulation(scenario, seed)
    simulation.feed(b"INIT\n")
    return simulation


def cylinder_psi(data: bytes) -> np.ndarray:
    counts = np.concatenate([frame.cylinder_count for frame in frames(data) if isinstance(frame, SampleBlock)])
    return ((counts + 0.5) / 4096 * 5.0 - 0.5) * 37.5


def test_the_scenario_waits_until_the_stream_is_started(quiet: Quiet) -> None:
    simulation = Simulation(quiet(AIR % ""))
    simulation.feed(b"*IDN?\n")
    simulation.advance(30.0)
    assert (simulation.scenario_s, simulation.bench.connected) == (None, None)
    simulation.feed(b"INIT\n")
    simulation.advance(31.5)
    assert simulation.scenario_s == pytest.approx(1.5)
    assert simulation.bench.cylinder_gauge_pa > 50 * PSI


def test_it_goes_on_while_the_stream_is_stopped(quiet: Quiet) -> None:
    simulation = started(quiet(AIR % '{ do = "vent", at_s = 60 }'))
    simulation.advance(0.5)
    simulation.feed(b"ABOR\n")
    simulation.advance(5.0)
    simulation.feed(b"INIT\n")
    assert cylinder_psi(simulation.advance(5.1)).mean() == pytest.approx(90.1, abs=0.2)


def test_it_ends_by_itself_and_the_board_stops(quiet: Quiet) -> None:
    simulation = started(quiet(AIR % ""))
    simulation.advance(1.9)
    assert not simulation.finished
    rest = frames(simulation.advance(4.5))
    assert simulation.finished
    assert [frame.running for frame in rest if isinstance(frame, Heartbeat)] == [True, False, False]
    assert sum(len(frame) for frame in rest if isinstance(frame, SampleBlock)) == 20


@pytest.mark.parametrize("name", ["four-cylinder", "rough-line", "bare"])
def test_same_seed_same_bytes_other_seed_other_bytes(name: str) -> None:
    runs = [b"".join(data for _, data in render(load(name), seed, 12.0)) for seed in (1, 1, 2)]
    assert runs[0] == runs[1] != runs[2]


def test_rendered_times_rise_and_the_bytes_are_whole() -> None:
    pieces = list(render(load("four-cylinder"), 1, 3.0))
    times = [time_s for time_s, _ in pieces]
    assert times == sorted(set(times))
    assert times[-1] == 3.0
    kinds = {type(frame) for frame in frames(b"".join(data for _, data in pieces))}
    assert kinds == {Boot, Reply, SampleBlock, Heartbeat}


def test_demonstration_shows_the_true_losses() -> None:
    """Means of the last second before the first tap and before the vent, with the calibration that the board keeps."""
    scenario = load("four-cylinder")
    data = b"".join(data for _, data in render(scenario, 1))
    blocks = [frame for frame in frames(data) if isinstance(frame, SampleBlock)]
    clock_s = np.concatenate([block.clock_us for block in blocks]).astype(np.uint32)
    seconds = (clock_s - np.uint32(scenario.board.first_clock_us)).astype(float) * 1e-6
    lines = Simulation(scenario).board.calibration
    pressures = {}
    for channel, field in (("SUPPLY", "supply_count"), ("CYLINDER", "cylinder_count")):
        zero_uv, pa_per_v, _ = lines[channel]
        counts = np.concatenate([getattr(block, field) for block in blocks])
        pressures[channel] = ((counts + 0.5) / 4096 * 5.0 - zero_uv * 1e-6) * pa_per_v
    supply, cylinder = pressures["SUPPLY"], pressures["CYLINDER"]
    windows = {1: (7.4, 14.4), 3: (24.0, 31.0), 4: (40.6, 47.6), 2: (60.7, 67.7)}
    for row in truth(scenario):
        for until_s, true_pct in zip(
            windows[row.cylinder], (row.as_found_loss_pct, row.after_tap_loss_pct), strict=True
        ):
            chosen = (seconds > until_s - 1.0) & (seconds < until_s)
            loss = 100 * (1 - cylinder[chosen].mean() / supply[chosen].mean())
            at_set = loss * (1 + 101325 / (100 * PSI)) / (1 + 101325 / supply[chosen].mean())
            assert at_set == pytest.approx(true_pct, abs=0.08)


def test_supply_of_the_demonstration_droops_once_on_the_last_cylinder() -> None:
    simulation = started(load("four-cylinder"))
    low = []
    for step in range(720):
        simulation.advance(step * 0.1)
        if simulation.bench.supply_gauge_pa < 95 * PSI:
            low.append((step * 0.1, simulation.bench.connected))
    assert {cylinder for _, cylinder in low} == {2}
    assert low[-1][0] - low[0][0] == pytest.approx(2.5, abs=0.3)


def test_things_are_done_at_their_time_and_not_at_that_of_a_sample(quiet: Quiet) -> None:
    slow = "\n[board]\nrate_hz = 1\n"
    simulation = started(quiet(AIR % '{ do = "tap", area_mm2 = 10, open_ms = 20, at_s = 8.4 }' + slow))
    simulation.advance(8.425)
    assert simulation.bench.time_s == pytest.approx(8.42)
    assert simulation.bench.cylinder_gauge_pa < 50 * PSI


def test_rendering_stops_at_the_end_of_the_scenario(quiet: Quiet) -> None:
    pieces = list(render(quiet("tail_s = 1.013"), 1))
    assert pieces[-1][0] == pytest.approx(1.013)


def test_tap_shows_in_the_stream(quiet: Quiet) -> None:
    simulation = started(
        quiet(AIR % '{ do = "tap", area_mm2 = 10, open_ms = 20, at_s = 8 }, { do = "vent", at_s = 12 }')
    )
    psi = cylinder_psi(simulation.advance(11.0))
    before, after = psi[1500:1600], psi[1600:1800]
    assert before.mean() == pytest.approx(90.1, abs=0.1)
    assert after.min() < 45.0
    assert psi[2100:2200].mean() == pytest.approx(90.1, abs=0.1)


@pytest.mark.parametrize(
    ("action", "seen"),
    [
        ('{ do = "garbage", bytes = 60 }', lambda found: any(isinstance(frame, BadFrame) for frame in found)),
        ('{ do = "corrupt", lines = 3 }', lambda found: sum(isinstance(frame, BadFrame) for frame in found) == 3),
        ('{ do = "drop_bytes", count = 5 }', lambda found: any(isinstance(frame, BadFrame) for frame in found)),
        ('{ do = "press", for_s = 0.1 }', lambda found: sum(isinstance(frame, InputEvent) for frame in found) == 2),
        ('{ do = "reset", cause = "brown_out" }', lambda found: Boot(ResetCause.BROWN_OUT, 2, True) in found),
        (
            '{ do = "drop_frames", count = 4 }',
            lambda found: any(isinstance(f, SampleBlock) and (f.flags & Flag.TRANSMIT_DROP).any() for f in found),
        ),
        (
            '{ do = "reference", to_v = 4.0, for_s = 0.1 }',
            lambda found: any(isinstance(f, SampleBlock) and (f.flags & Flag.REFERENCE_LOW).any() for f in found),
        ),
        (
            '{ do = "wire", channel = "cylinder", for_s = 0.1 }',
            lambda found: sum(int((f.cylinder_count == 0).sum()) for f in found if isinstance(f, SampleBlock)) == 20,
        ),
        (
            '{ do = "swap", for_s = 0.1 }',
            lambda found: any(isinstance(f, SampleBlock) and (f.supply_count < f.cylinder_count).any() for f in found),
        ),
    ],
)
def test_faults_show_in_the_stream(quiet: Quiet, action: str, seen: Callable[[list[Frame]], bool]) -> None:
    timed = action.replace("}", ", at_s = 1.2013 }")
    clean, faulty = started(quiet(AIR % "")), started(quiet(AIR % timed))
    assert not seen(frames(clean.advance(1.9)))
    assert seen(frames(faulty.advance(1.9)))


def test_stuck_transducer(quiet: Quiet) -> None:
    timed = '{ do = "stuck", channel = "cylinder", at_s = 5, for_s = 1 }, { do = "vent", at_s = 5.2 }'
    psi = cylinder_psi(started(quiet(AIR % timed)).advance(6.5))
    assert np.ptp(psi[1000:1199]) < 0.3
    assert psi[1100] > 85.0
    assert psi[1250] < 1.0


def test_set_point_and_droop(quiet: Quiet) -> None:
    timed = '{ do = "set_point", to_psi = 20, at_s = 2 }, { do = "droop", to_psi = 10, at_s = 4, for_s = 1 }'
    simulation = started(quiet(AIR % timed))
    seen = []
    for until_s in (1.9, 3.9, 4.9, 5.9):
        simulation.advance(until_s)
        seen.append(simulation.bench.supply_gauge_pa / PSI)
    assert seen == pytest.approx([100.0, 20.0, 10.0, 20.0])


def test_crank_action(quiet: Quiet) -> None:
    simulation = started(quiet(AIR % '{ do = "crank", to_deg = 10, at_s = 5 }'))
    simulation.advance(6.0)
    assert simulation.bench.crank.angle_rad > 1.0


@pytest.mark.parametrize(("powered_by_cable", "boots"), [(True, 1), (False, 0)])
def test_pulled_cable(quiet: Quiet, powered_by_cable: bool, boots: int) -> None:
    board = f"\n[board]\npowered_by_cable = {str(powered_by_cable).lower()}\n"
    simulation = started(quiet(AIR % '{ do = "unplug", at_s = 2, for_s = 3 }' + board))
    simulation.advance(1.9)
    simulation.advance(2.1)
    assert not simulation.cable_in
    assert simulation.advance(4.0) == simulation.feed(b"*IDN?\n") == b""
    found = frames(simulation.advance(5.5))
    assert simulation.cable_in
    assert sum(isinstance(frame, Boot) for frame in found) == boots
    assert any(isinstance(frame, SampleBlock) for frame in found) != powered_by_cable


def test_rendering_starts_the_board_again_after_a_reset() -> None:
    found = frames(b"".join(data for _, data in render(load("rough-line"), 1)))
    assert sum(isinstance(frame, Boot) for frame in found) == 3
    assert sum(isinstance(frame, Reply) and frame.status == 0 for frame in found) == 3
    assert sum(len(frame) for frame in found if isinstance(frame, SampleBlock)) > 10_000


def test_bare_board_streams_once_somebody_is_there() -> None:
    simulation = Simulation(load("bare"))
    assert simulation.advance(5.0) == b""
    simulation.opened()
    (block,) = BareDecoder().feed(simulation.advance(7.0))
    assert isinstance(block, BareBlock)
    assert len(block) == 100


def test_a_framed_board_does_not_stream_because_somebody_is_there() -> None:
    simulation = Simulation(load("steady"))
    simulation.opened()
    assert not any(isinstance(frame, SampleBlock) for frame in frames(simulation.advance(3.0)))
