"""The loop between simulated time and real time, with a port that is no line."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from daq.wire import Decoder, Reply, SampleBlock
from simulator.scenario import Scenario, load
from simulator.simulation import Simulation
from simulator.transport import pacing
from simulator.transport.port import MOST_PENDING_BYTES, append_what_fits

Quiet = Callable[[str], Scenario]


class FakePort:
    """A port whose host writes `commands` once, and that lets a fake clock run while the loop waits."""

    url = "fake"
    listening = True

    def __init__(self, clock: list[float], commands: bytes = b"INIT\n", backlog: int = 0) -> None:
        self.clock, self.commands, self.backlog = clock, commands, backlog
        self.received, self.plugs, self.waits, self.lost_bytes = b"", [], 0, 0

    @property
    def pending_bytes(self) -> int:
        return self.backlog

    def plug(self) -> None:
        self.plugs.append(True)

    def unplug(self) -> None:
        self.plugs.append(False)

    def exchange(self, data: bytes) -> bytes:
        self.received += data
        commands, self.commands = self.commands, b""
        return commands

    def wait(self, seconds: float) -> None:
        self.waits += 1
        self.clock[0] += seconds

    def close(self) -> None: ...


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    now = [100.0]
    monkeypatch.setattr(pacing.time, "monotonic", lambda: now[0])
    return now


@pytest.mark.parametrize("speed", [1.0, 10.0])
def test_simulated_time_follows_real_time_and_the_scenario_ends(quiet: Quiet, clock: list[float], speed: float) -> None:
    simulation, port = Simulation(quiet('action = [{ do = "vent", at_s = 5 }]')), FakePort(clock)
    pacing.serve(simulation, port, threading.Event(), speed=speed)
    assert clock[0] - 100.0 == pytest.approx(6.0 / speed + pacing.FAREWELL_S, abs=0.05)
    frames = Decoder().feed(port.received)
    assert sum(len(frame) for frame in frames if isinstance(frame, SampleBlock)) == 1200
    assert Reply(0, 0, "") in frames


def test_catches_up_without_waiting_after_a_pause(quiet: Quiet, clock: list[float]) -> None:
    simulation, port = Simulation(quiet('action = [{ do = "vent", at_s = 60 }]')), FakePort(clock)
    stop = threading.Event()

    def exchange(data: bytes) -> bytes:
        if port.waits == 5:
            clock[0] += 20.0
            port.waits += 1
        elif port.waits == 8:
            stop.set()
        return b""

    port.exchange = exchange  # type: ignore[method-assign]
    pacing.serve(simulation, port, stop)
    assert simulation.now_s == pytest.approx(clock[0] - 100.0, abs=0.02)


def test_cable_of_the_scenario_is_the_cable_of_the_port(quiet: Quiet, clock: list[float]) -> None:
    simulation = Simulation(quiet('action = [{ do = "unplug", at_s = 1, for_s = 2 }]'))
    port = FakePort(clock)
    pacing.serve(simulation, port, threading.Event())
    changes = [now for before, now in zip([None, *port.plugs], port.plugs, strict=False) if before != now]
    assert changes == [True, False, True]


@pytest.mark.parametrize(("speed", "waits"), [(2.0, True), (1.0, False)])
def test_time_waits_for_a_host_that_is_behind_unless_it_is_real(
    quiet: Quiet, clock: list[float], speed: float, waits: bool
) -> None:
    simulation, stop = Simulation(quiet("")), threading.Event()
    port = FakePort(clock, backlog=MOST_PENDING_BYTES)
    port.wait = lambda seconds: clock.__setitem__(0, clock[0] + seconds) or (clock[0] > 103.0 and stop.set())
    pacing.serve(simulation, port, stop, speed=speed, linger=True)
    assert (simulation.now_s == 0.0) == waits


def test_lingers_after_the_end(quiet: Quiet, clock: list[float]) -> None:
    simulation, stop = Simulation(quiet("")), threading.Event()
    port = FakePort(clock)
    port.wait = lambda seconds: clock.__setitem__(0, clock[0] + seconds) or (clock[0] > 110.0 and stop.set())
    pacing.serve(simulation, port, stop, linger=True)
    assert simulation.finished
    assert simulation.now_s > 9.0


def test_a_bare_board_starts_when_somebody_listens(clock: list[float]) -> None:
    simulation, port = Simulation(load("bare")), FakePort(clock, commands=b"")
    port.listening = False
    stop = threading.Event()

    def wait(seconds: float) -> None:
        clock[0] += seconds
        port.listening = clock[0] > 102.0
        if clock[0] > 104.0:
            stop.set()

    port.wait = wait  # type: ignore[method-assign]
    pacing.serve(simulation, port, stop)
    assert port.received.count(b"\n") == pytest.approx(100, abs=2)


def test_a_line_keeps_only_so_much() -> None:
    pending = bytearray(b"x" * (MOST_PENDING_BYTES - 3))
    assert append_what_fits(pending, b"abcdef") == 3
    assert pending.endswith(b"xabc")
    assert append_what_fits(pending, b"gh") == 2
    assert len(pending) == MOST_PENDING_BYTES
