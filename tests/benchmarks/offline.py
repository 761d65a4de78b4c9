"""What needs no line and no broker: replay of a raw log, bytes on the disk, start-up."""

from __future__ import annotations

import asyncio
import sqlite3
import statistics
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from daq.cli.replay import COALESCE_BYTES
from daq.config import Config
from daq.driver import Driver
from daq.pipeline import Pipeline
from daq.records import Board, Chunk, Delivery, Input, LineFormat, LinkDown, LinkUp
from daq.sinks.raw_log import RawLogHeader, read_raw_log, write_raw_log
from daq.sinks.store.boot import Boot
from daq.sinks.store.store import Store
from daq.sources.replay import replay
from daq.sources.rhythm import HANDED_ON_US
from tests.benchmarks.boards import BITS, new_board, recording
from tests.benchmarks.rig import ROOT, environment

BEGAN_S = 1_800_000_000.0
STARTS = 10


def write_log(path: Path, rate_hz: int, seconds: float) -> int:
    """A raw log as the daemon writes it, of tests of an engine one after the other; returns the number of samples."""
    board, step_s = new_board(rate_hz, recording(rate_hz)), 1e-6 * HANDED_ON_US

    def inputs() -> Iterator[Input]:
        yield LinkUp(BEGAN_S, Board(LineFormat.FRAMED, BITS, rate_hz=float(rate_hz)))
        board.start()
        for step in range(1, round(seconds / step_s) + 1):
            yield Chunk(BEGAN_S + step * step_s, board.advance(step * step_s))
        yield LinkDown(BEGAN_S + seconds, "the end")

    write_raw_log(path, RawLogHeader("bench", "boot", "", "benchmark", {}, {}), inputs())
    return round(rate_hz * seconds)


def replay_s(path: Path) -> float:
    """Seconds from opening the log to the last record; the best of three, as other programs can only slow it down."""
    return min(_seconds(lambda: deque(_deliveries(path), maxlen=0)) for _ in range(3))


def replay_into_s(path: Path, database: Path) -> float:
    """The same until the database is closed, once."""
    return _seconds(lambda: asyncio.run(_store(path, database)))


def _seconds(job: Callable[[], object]) -> float:
    began_s = time.perf_counter()
    job()
    return time.perf_counter() - began_s


def _deliveries(path: Path) -> Iterator[Delivery]:
    """The same steps as `boretight replay`."""
    config = Config()
    driver = Driver(Pipeline(config.measuring_instrument(), config.calibration_record(), config.engine.order()))
    for item in replay(read_raw_log(path), COALESCE_BYTES):
        yield driver.step(item)
    yield driver.finish()


async def _store(path: Path, database: Path) -> None:
    calibrations = [Config().calibration_record()]
    store = Store(database, Boot("bench", "replay"), calibrations=calibrations, announce=False)
    await store.open()
    for delivery in _deliveries(path):
        if delivery.records:
            await store.write(delivery)
    await store.close()


@dataclass(frozen=True)
class Stored:
    """Bytes for each of `samples`: of its block, and of the whole database."""

    samples: int
    block_bytes: float
    database_bytes: float


def stored(database: Path) -> Stored:
    connection = sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)
    samples, block_bytes = connection.execute("SELECT sum(n), sum(length(block)) FROM sample_block").fetchone()
    connection.close()
    return Stored(samples, block_bytes / samples, database.stat().st_size / samples)


def start_up_s() -> tuple[float, float]:
    """Medians of `boretight --help` and of a bare interpreter, one after the other in turn."""
    program = Path(sys.executable).with_name("boretight")
    commands = ([str(program), "--help"], [sys.executable, "-c", "pass"])
    times: list[list[float]] = [[], []]
    for turn in range(STARTS + 1):
        for command, taken in zip(commands, times, strict=True):
            began_s = time.perf_counter()
            subprocess.run(command, stdout=subprocess.DEVNULL, check=True, cwd=ROOT, env=environment())
            if turn:  # the first turn fills the caches
                taken.append(time.perf_counter() - began_s)
    return statistics.median(times[0]), statistics.median(times[1])
