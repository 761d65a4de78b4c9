"""Simulated boards for the benchmark, all in one cheap process: pressures recorded once, lines made as they fall due.

    python -m tests.benchmarks.boards --boards 8 --rate 1000

The first line on standard output names the lines to open; the last one, after standard input has ended, tells how
well the pace was kept and when each board was powered. With `--flood` a board sends as fast as its host reads.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from daq.wire import SampleBlock
from simulator.board import Board, BoardTraits
from simulator.commands import Identity
from simulator.physics.front_end import Conversions, ConverterTraits
from simulator.scenario import load
from simulator.simulation import render
from simulator.transport.pty_port import PtyPort

SCENARIO = "four-cylinder"
BITS = 12
REFERENCE_V = 5.0
STEP_S = 0.002
FLOOD_STEP_S = 0.02


def baud_for(rate_hz: int) -> int:
    """What such a board would run at."""
    return 115_200 if rate_hz <= 200 else 500_000


def recording(rate_hz: int) -> SampleBlock:
    """What the simulator's own board converts in a whole test of an engine, once through its scenario."""
    from daq.wire import Decoder

    scenario = load(SCENARIO)
    board = scenario.board.model_copy(update={"rate_hz": rate_hz, "baud": baud_for(rate_hz), "bits": BITS})
    decoder = Decoder()
    frames = [
        frame
        for _, data in render(scenario.model_copy(update={"board": board}))
        for frame in decoder.feed(data)
        if isinstance(frame, SampleBlock)
    ]
    names = ("sequence", "clock_us", "supply_count", "cylinder_count", "reference", "flags")
    return SampleBlock(*(np.concatenate([getattr(frame, name) for frame in frames]) for name in names))


class Player:
    """A converter that gives the recorded counts again and again, one row for each time it is asked."""

    traits = ConverterTraits(BITS)
    reference_v = REFERENCE_V
    last_volts = (1.0, 1.0)

    def __init__(self, recorded: SampleBlock) -> None:
        self._recorded, self._row = recorded, 0

    def convert(self, times_s: Sequence[float]) -> Conversions:
        rows = (self._row + np.arange(len(times_s))) % len(self._recorded)
        self._row += len(times_s)
        recorded = self._recorded
        return Conversions(
            recorded.supply_count[rows], recorded.cylinder_count[rows], recorded.reference[rows], REFERENCE_V
        )


def new_board(rate_hz: int, recorded: SampleBlock) -> Board:
    """Its clock is exact and begins with 0 when it is powered."""
    identity = Identity(model="Benchmark board", bits=BITS, baud=baud_for(rate_hz), rate_hz=rate_hz)
    return Board(BoardTraits(identity), Player(recorded))


@dataclass
class Served:
    """A board on a pseudo-terminal."""

    board: Board
    port: PtyPort = field(default_factory=PtyPort)
    powered_s: float = field(default_factory=time.monotonic)
    began_s: float | None = None

    def step(self, flood: bool) -> None:
        commands = self.port.exchange(self.board.advance(self._time_s(flood)))
        if commands:
            self.port.exchange(self.board.feed(commands))
        if self.board.running and self.began_s is None:
            self.began_s = self.board.now_s

    def _time_s(self, flood: bool) -> float:
        if not flood:
            return time.monotonic() - self.powered_s
        return self.board.now_s + (0.0 if self.port.pending_bytes else FLOOD_STEP_S if self.board.running else STEP_S)

    def summary(self) -> dict[str, Any]:
        return {"powered_s": self.powered_s, "began_s": self.began_s, "lost_bytes": self.port.lost_bytes}


def serve(boards: Sequence[Served], flood: bool, stop: threading.Event) -> float:
    """Until `stop`; returns the longest time between two steps, in seconds."""
    before_s, longest_s = time.monotonic(), 0.0
    while not stop.is_set():
        for served in boards:
            served.step(flood)
        now_s = time.monotonic()
        longest_s, before_s = max(longest_s, now_s - before_s), now_s
        time.sleep(STEP_S if not flood else STEP_S / 4)
    return longest_s


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=1)
    parser.add_argument("--rate", type=int, default=200)
    parser.add_argument("--flood", action="store_true")
    arguments = parser.parse_args()
    recorded = recording(arguments.rate)
    boards = [Served(new_board(arguments.rate, recorded)) for _ in range(arguments.boards)]
    for served in boards:
        served.port.plug()
    print(json.dumps([served.port.url for served in boards]), flush=True)
    stop = threading.Event()
    threading.Thread(target=_until_stdin_ends, args=(stop,), daemon=True).start()
    longest_s = serve(boards, arguments.flood, stop)
    print(json.dumps({"longest_step_s": longest_s, "boards": [served.summary() for served in boards]}), flush=True)
    for served in boards:
        served.port.close()


def _until_stdin_ends(stop: threading.Event) -> None:
    while os.read(sys.stdin.fileno(), 4096):
        pass
    stop.set()


if __name__ == "__main__":
    main()
