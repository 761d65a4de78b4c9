"""The loop that lets simulated time follow real time. The only place of the simulator that reads a clock."""

from __future__ import annotations

import time
from threading import Event

from simulator.simulation import Simulation
from simulator.transport.port import MOST_PENDING_BYTES, Port

WAKE_S = 0.01
LONGEST_STEP_S = 0.5
"""Simulated time between two looks at the commands, even when the loop has to catch up."""
FAREWELL_S = 0.5
"""Real time between the end of a scenario and the end of the line, so that the host can fetch what is on it."""


def serve(simulation: Simulation, port: Port, stop: Event, *, speed: float = 1.0, linger: bool = False) -> None:
    """Offer the simulation on the port until its scenario is over (never, when it lingers) or `stop` is set.

    In real time a host that is behind loses bytes, as on a real line. At a multiple of it simulated time waits.
    """
    port.plug()
    seen_s, owed_s, ended_s = time.monotonic(), 0.0, None
    while not stop.is_set():
        before_s, seen_s = seen_s, time.monotonic()
        owed_s += (seen_s - before_s) * speed
        if speed != 1.0 and port.pending_bytes > MOST_PENDING_BYTES // 4:
            owed_s = 0.0
        step_s = min(owed_s, LONGEST_STEP_S)
        owed_s -= step_s
        _step(simulation, port, step_s)
        if simulation.finished and ended_s is None:
            ended_s = seen_s
        if ended_s is not None and not linger and seen_s - ended_s > FAREWELL_S:
            return
        if owed_s <= 0.0:
            port.wait(WAKE_S)


def _step(simulation: Simulation, port: Port, step_s: float) -> None:
    commands = port.exchange(simulation.advance(simulation.now_s + step_s))
    if port.listening:
        simulation.opened()
    if commands:
        port.exchange(simulation.feed(commands))
    if simulation.cable_in:
        port.plug()
    else:
        port.unplug()
