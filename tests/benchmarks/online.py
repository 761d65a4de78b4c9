"""What needs boards, a broker and programs that run: CPU, latency, memory."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil

from tests.benchmarks import rig
from tests.benchmarks.pages import looking
from tests.benchmarks.rig import Load, Subscriber, Watch

TICK_S = 0.05
CLOCK_STEPS = 1_000_000


@dataclass(frozen=True)
class Run:
    """One measurement. `memory` is psutil's, of the first program; `folders` hold what the programs wrote."""

    load: Load
    watch: Watch
    pace: dict[str, Any]
    memory: Any
    folders: list[Path]

    @property
    def late_s(self) -> float:
        """How far the boards fell behind at worst."""
        return float(self.pace["longest_step_s"])

    @property
    def lost_bytes(self) -> int:
        return sum(board["lost_bytes"] for board in self.pace["boards"])


def run(
    naive: bool,
    count: int,
    rate_hz: int,
    broker_port: int,
    folder: Path,
    seconds: float,
    warm_up_s: float = 3.0,
    flood: bool = False,
    probe: bool = False,
    pages: int = 0,
) -> Run:
    """`count` boards with a program each, measured for `seconds`; all of it has ended when this returns. `pages` are
    open at the first one."""
    subscriber = Subscriber(broker_port)
    with ExitStack() as stack:
        stack.callback(subscriber.close)
        boards = stack.enter_context(rig.boards(count, rate_hz, flood))
        folders = [folder / f"{'naive' if naive else 'bench'}-{number}" for number in range(count)]
        commands = [
            _command(naive, each, url, rate_hz, broker_port) for each, url in zip(folders, boards.urls, strict=True)
        ]
        programs = stack.enter_context(ExitStack())
        pids = [programs.enter_context(rig.process(command)).pid for command in commands]
        if pages:
            stack.enter_context(looking(folders[0] / "page-link", pages))
        load, watch = rig.measure(pids, subscriber, rate_hz, seconds, warm_up_s, probe)
        memory = psutil.Process(pids[0]).memory_full_info()
        programs.close()
    return Run(load, watch, boards.pace, memory, folders)


def _command(naive: bool, folder: Path, url: str, rate_hz: int, broker_port: int) -> list[str | Path]:
    folder.mkdir(parents=True)
    if naive:
        return rig.naive_command(url, rate_hz, broker_port, folder)
    return rig.daemon_command(rig.config(folder.name, url, rate_hz, broker_port, folder))


def latencies_s(run: Run, rate_hz: int) -> list[float]:
    """For each live message: arrival at the subscriber less the moment at which its newest sample was due.

    A live message tells the time of its tick, on a clock that began with 0 when the board was powered; its newest
    sample is the last one of the board's grid before the end of that tick.
    """
    (board,) = run.pace["boards"]
    (live,) = run.watch.live.values()
    powered_s, began_s = board["powered_s"], board["began_s"]
    return [arrived_s - powered_s - _newest_sample_s(mono_s, began_s, rate_hz) for mono_s, arrived_s in live]


def _newest_sample_s(tick_s: float, began_s: float, rate_hz: int) -> float:
    """Board time of the last sample in the tick that holds `tick_s`; the board rounds to microseconds."""
    end_us = round((math.floor(tick_s / TICK_S) + 1) * TICK_S * CLOCK_STEPS)
    number = math.ceil((end_us / CLOCK_STEPS - began_s) * rate_hz)
    while round((began_s + number / rate_hz) * CLOCK_STEPS) >= end_us:
        number -= 1
    return began_s + number / rate_hz


def percentile(values: Sequence[float], percent: float) -> float:
    """The smallest value that at least `percent` of all do not exceed."""
    ordered = sorted(values)
    return ordered[max(0, math.ceil(percent / 100 * len(ordered)) - 1)]
