"""A scenario running: physics, board and line put together, with the cues of its timeline. Time is an argument.

Two times: that of the board, which begins with 0 when it is powered, and that of the scenario and its physics, which
begins when the stream is first started. So a demonstration waits for the host, however long that takes to get ready.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from functools import partial
from math import inf

from daq.wire import ResetCause
from simulator.board import Board
from simulator.build import bench_of, board_traits, front_end_of, line_traits
from simulator.line import Line
from simulator.scenario import Scenario
from simulator.timeline import timeline_of

_RESTART_AFTER_S = 1.0
_RENDER_STEP_S = 0.05


class Simulation:
    """`feed` and `advance` return the bytes that arrive at the host. The same seed, commands and times give the same
    bytes; the size of the steps of `advance` does not matter."""

    def __init__(self, scenario: Scenario, seed: int = 1) -> None:
        timeline = timeline_of(scenario)
        self.ends_s = timeline.ends_s
        self.bench = bench_of(scenario, seed)
        self.front_end = front_end_of(scenario, self.bench, seed)
        self.board = Board(board_traits(scenario), self.front_end)
        self.line = Line(line_traits(scenario), seed)
        self.cable_in = True
        self.finished = False
        self._powered_by_cable = scenario.board.powered_by_cable
        self._began_s: float | None = None
        self._to_do: deque[tuple[float, Callable[[], None]]] = deque(
            (cue.at_s, partial(cue.perform, self)) for cue in timeline.cues
        )
        if self.ends_s is not None:
            self._to_do.append((self.ends_s, self.stop))

    @property
    def now_s(self) -> float:
        """Time of the board."""
        return self.board.now_s

    @property
    def scenario_s(self) -> float | None:
        """Time of the scenario; None before it begins."""
        return None if self._began_s is None else self.now_s - self._began_s

    @property
    def ends_at_s(self) -> float:
        """Board time of the end of the scenario; infinite before it begins, or when it has none."""
        return inf if self._began_s is None or self.ends_s is None else self._began_s + self.ends_s

    def opened(self) -> None:
        """A host has opened the line. A bare board, which takes no commands, starts its stream now."""
        if self.board.traits.bare and not self.finished:
            self.board.start()
            self._begin()

    def feed(self, data: bytes) -> bytes:
        """What the host wrote, at the time that `advance` has reached."""
        if not self.cable_in:
            return b""
        replies = self.board.feed(data)
        self._begin()
        return self.line.carry(replies)

    def advance(self, to_s: float) -> bytes:
        """Let time pass until `to_s`."""
        arrived = []
        while self._next_s() <= to_s:
            at_s, perform = self._next_s(), self._to_do.popleft()[1]
            arrived.append(self._run(at_s))
            self.front_end.advance(at_s)
            perform()
        arrived.append(self._run(to_s))
        return b"".join(arrived)

    def stop(self) -> None:
        """The end of the scenario: the board stops its stream. A host may start it again."""
        self.board.stop()
        self.finished = True

    def pull_cable(self) -> None:
        self.cable_in = False

    def put_cable_back(self) -> None:
        if self._powered_by_cable:
            self.board.reset(ResetCause.POWER_ON, 0)
        self.cable_in = True

    def _begin(self) -> None:
        if self._began_s is None and self.board.running:
            self._began_s = self.now_s
            self.front_end.begin(self.now_s)

    def _next_s(self) -> float:
        """Board time of the next thing to do."""
        if self._began_s is None or not self._to_do:
            return inf
        return self._began_s + self._to_do[0][0]

    def _run(self, to_s: float) -> bytes:
        sent = self.board.advance(to_s)
        return self.line.carry(sent) if self.cable_in else b""


def render(scenario: Scenario, seed: int = 1, until_s: float = inf) -> Iterator[tuple[float, bytes]]:
    """The run of a scenario to its end or to `until_s`, as (time, bytes arrived), 20 times a second.

    Plays the simplest of hosts: INITiate at once, and again a second after the board has stopped by itself.
    """
    simulation = Simulation(scenario, seed)
    simulation.opened()
    step, restart_s = 0, 0.0
    while not simulation.finished and simulation.now_s < until_s:
        arrived = b""
        if not simulation.board.running and simulation.cable_in and simulation.now_s >= restart_s:
            arrived = simulation.feed(b"INITiate\n")
        was_running = simulation.board.running
        step += 1
        arrived += simulation.advance(min(step * _RENDER_STEP_S, until_s, simulation.ends_at_s))
        if was_running and not simulation.board.running:
            restart_s = simulation.now_s + _RESTART_AFTER_S
        if arrived:
            yield simulation.now_s, arrived
