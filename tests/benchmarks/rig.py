"""The processes of a measurement: broker, boards, daemons or the naive script; and what is read of them meanwhile."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil

from tests.benchmarks.boards import baud_for
from tests.benchmarks.raw_mqtt import RawMqtt

PATIENCE_S = 60.0
NAIVE = Path(__file__).with_name("naive.py")
ROOT = Path(__file__).parents[2]
PROBE_EACH_S = 0.02
PROBE_BYTES = 500
"""About the size of a live message."""


def environment() -> dict[str, str]:
    """Ours, with byte code kept on disk as usual."""
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


@contextmanager
def process(command: Sequence[str | Path], **pipes: Any) -> Iterator[subprocess.Popen[str]]:
    """A program that is ended with the block: asked first."""
    started = subprocess.Popen([*map(str, command)], cwd=ROOT, env=environment(), text=True, **pipes)
    try:
        yield started
    finally:
        started.terminate()
        try:
            started.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            started.kill()
            started.wait()
        for pipe in (started.stdin, started.stdout):
            if pipe is not None:
                pipe.close()


@dataclass
class Boards:
    """Where the boards are; `pace` is filled in when they have ended."""

    urls: list[str]
    pace: dict[str, Any] = field(default_factory=dict)


@contextmanager
def boards(count: int, rate_hz: int, flood: bool = False) -> Iterator[Boards]:
    command = [sys.executable, "-m", "tests.benchmarks.boards", "--boards", str(count), "--rate", str(rate_hz)]
    with process([*command, *(["--flood"] if flood else [])], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as feeder:
        assert feeder.stdin is not None and feeder.stdout is not None
        served = Boards(json.loads(feeder.stdout.readline()))
        yield served
        feeder.stdin.close()
        served.pace = json.loads(feeder.stdout.readline())


def config(bench: str, url: str, rate_hz: int, broker_port: int, folder: Path) -> Path:
    """The configuration of a daemon with everything in `folder`."""
    path = folder / "boretight.toml"
    path.write_text(
        f'bench = "{bench}"\n'
        f'[line]\nport = "{url}"\nbaud = {baud_for(rate_hz)}\nrate_hz = {rate_hz}\n'
        f'[storage]\nfolder = "{folder}"\n'
        f'[mqtt]\nhost = "127.0.0.1"\nport = {broker_port}\n'
        '[engine]\nname = "invented four"\nfiring_order = "1-3-4-2"\n'
    )
    return path


def daemon_command(config_path: Path) -> list[str | Path]:
    return [sys.executable, "-m", "daq.cli", "run", "--config", config_path, "--quiet"]


def naive_command(url: str, rate_hz: int, broker_port: int, folder: Path) -> list[str | Path]:
    return [sys.executable, NAIVE, url, str(baud_for(rate_hz)), str(rate_hz), str(broker_port), folder / "naive.csv"]


@dataclass
class Watch:
    """What a subscriber saw: for each topic the board's newest time and its arrival; and how long probes took."""

    live: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    hops_s: list[float] = field(default_factory=list)

    def newest_s(self) -> dict[str, float]:
        """Board time up to which each bench has published."""
        return {topic: seen[-1][0] for topic, seen in self.live.items()}


class Subscriber:
    """Watches live messages, and sends itself probes through the broker on a second connection."""

    def __init__(self, broker_port: int) -> None:
        self._in, self._out = RawMqtt(broker_port, "watcher"), RawMqtt(broker_port, "prober")
        for topic_filter in ("boretight/v1/+/live", "naive/live", "probe"):
            self._in.subscribe(topic_filter)

    def watch(self, seconds: float, into: Watch, probe: bool = False) -> None:
        until_s, next_s = time.monotonic() + seconds, time.monotonic()
        while (now_s := time.monotonic()) < until_s:
            if probe and now_s >= next_s:
                next_s = now_s + PROBE_EACH_S
                self._out.publish("probe", f"{time.monotonic():.9f}".encode().ljust(PROBE_BYTES))
            self._take(min(next_s if probe else until_s, until_s) - now_s, into)

    def await_live(self, programs: Sequence[psutil.Process]) -> None:
        """Until as many publish; raises psutil.NoSuchProcess when one of them has ended, TimeoutError."""
        seen, until_s = Watch(), time.monotonic() + PATIENCE_S
        while len(seen.live) < len(programs):
            _check_alive(programs)
            if time.monotonic() > until_s:
                raise TimeoutError(f"only {len(seen.live)} of {len(programs)} publish")
            self.watch(0.1, seen)

    def close(self) -> None:
        self._in.close()
        self._out.close()

    def _take(self, timeout_s: float, into: Watch) -> None:
        for topic, body, arrived_s in self._in.receive(timeout_s):
            if topic == "probe":
                into.hops_s.append(arrived_s - float(body))
            else:
                into.live.setdefault(topic, []).append((json.loads(body)["mono_s"], arrived_s))


@dataclass(frozen=True)
class Load:
    """What some processes did in a stretch of time, after their start and some warming up."""

    seconds: float
    cpu_s: float
    samples: float
    programs: int

    @property
    def cpu_share(self) -> float:
        """Of one core, for each of the programs."""
        return self.cpu_s / self.seconds / self.programs

    @property
    def samples_per_cpu_s(self) -> float:
        return self.samples / self.cpu_s


def measure(
    pids: Sequence[int], subscriber: Subscriber, rate_hz: int, seconds: float, warm_up_s: float, probe: bool = False
) -> tuple[Load, Watch]:
    """Samples are counted by the board's clock in what was published: nothing that was not processed is counted."""
    programs, seen = [psutil.Process(pid) for pid in pids], Watch()
    subscriber.await_live(programs)
    subscriber.watch(warm_up_s, seen)
    before, before_s, began_s = seen.newest_s(), _cpu_s(programs), time.monotonic()
    subscriber.watch(seconds, seen, probe)
    after, after_s, took_s = seen.newest_s(), _cpu_s(programs), time.monotonic() - began_s
    samples = rate_hz * sum(after[topic] - before[topic] for topic in before)
    return Load(took_s, after_s - before_s, samples, len(pids)), seen


def _check_alive(programs: Sequence[psutil.Process]) -> None:
    for program in programs:
        if program.status() == psutil.STATUS_ZOMBIE:
            raise psutil.NoSuchProcess(program.pid, msg="it ended before it published anything")


def _cpu_s(programs: Sequence[psutil.Process]) -> float:
    return sum(sum(program.cpu_times()[:2]) for program in programs)
