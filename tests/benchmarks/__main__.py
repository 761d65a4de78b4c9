"""`make bench`: everything that has a goal, measured in one run on this machine, as ratios where that is possible.

It reports and does not judge: the exit code is 0 whatever the values are.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import psutil

from tests.benchmarks import offline
from tests.benchmarks.online import Run, latencies_s, percentile, run
from tests.benchmarks.rig import PROBE_BYTES
from tests.benchmarks.table import Row, lines
from tests.suites.brokers import Mosquitto

PAGES = 4
HOW = """\
How it was measured
  Boards: simulated ones on pseudo-terminals, all in one process that plays back what the simulator
    converted in a whole test of an engine. What is due is written each 2 ms; the daemon greets such a board as any
    other. Broker: mosquitto on loopback, TCP_NODELAY.
  Daemon: `boretight run` with raw log, database and MQTT, without terminal. Naive: tests/benchmarks/naive.py.
  CPU: user and system time of that program alone, between two moments long after its start. Samples are counted by
    the board's clock in what was published between the same moments. "Flood": the board sends as fast as it is read.
  Latency: from the moment the newest sample of a live message was due, to the arrival of the message at a plain
    socket that subscribes. When a sample is due is known exactly: the board's clock is the host's, less the time it
    was powered. It holds the wait for the first sample of the next tick (which closes the tick), the 2 ms of the
    boards, the daemon's wait between two reads of the line, its work, and the broker. The board's time on the wire
    (0.78 ms a line at 500 kbaud) does not exist on a pseudo-terminal. Hop: {probe} bytes from a plain socket
    through the same broker to the same subscriber, at the same time as the latency.
  Pages: plain sockets on loopback that read the stream of a page; what a browser draws is not the daemon's.
  Memory: what psutil calls rss, which counts libraries that other programs share; uss is what ends with the daemon.
  Replay: read, decode, measure (and store) a raw log of engine tests, without the start of the program.
"""


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--json", action="store_true", help="for programs: JSON on standard output")
    as_json = parser.parse_args().json
    machine = f"{os.cpu_count()} cores, {platform.machine()}, {platform.system()}, Python {platform.python_version()}"
    machine += f", {psutil.cpu_percent(1.0):.0f} % busy with other things at the start"
    with tempfile.TemporaryDirectory(prefix="boretight-bench-") as folder:
        rows = list(_measure_all(Path(folder)))
    if as_json:
        print(json.dumps({"machine": machine, "rows": [row.as_dict() for row in rows]}, indent=1))
        return
    print("\n".join([machine, "", *lines(rows), "", HOW.format(probe=PROBE_BYTES)]))


def _say(what: str) -> None:
    print(f"bench: {what}...", file=sys.stderr, flush=True)


def _measure_all(folder: Path) -> Iterator[Row]:
    broker = Mosquitto(folder)
    broker.start()
    try:
        yield from _running(broker.port, folder)
    finally:
        broker.stop()
    yield from _replaying(folder)
    _say("start-up")
    ours_s, bare_s = offline.start_up_s()
    yield Row("boretight --help / bare python", ours_s / bare_s, "x", "<=", 7, f"{ours_s * 1e3:.0f} ms, medians of 10")


def _running(port: int, folder: Path) -> Iterator[Row]:
    _say("daemon, 1 board, 1000 samples/s")
    daemon = run(False, 1, 1000, port, folder / "one-1000", 25, probe=True)
    _say("naive script, 1 board, 1000 samples/s")
    naive = run(True, 1, 1000, port, folder / "naive", 10)
    yield _against("samples per CPU-second, 1 kHz, daemon / naive", daemon, naive, 20)
    _say("both, as fast as they can")
    flood = run(False, 1, 1000, port, folder / "flood", 6, flood=True)
    naive_flood = run(True, 1, 1000, port, folder / "naive-flood", 6, flood=True)
    yield _against("samples per CPU-second, flood, daemon / naive", flood, naive_flood, None)
    yield _share(daemon, 1, 1000, 3)
    for count, rate_hz, seconds in ((1, 200, 10), (8, 200, 10), (8, 1000, 10)):
        _say(f"daemon, {count} board{'s' if count > 1 else ''}, {rate_hz} samples/s")
        yield _share(run(False, count, rate_hz, port, folder / f"{count}-{rate_hz}", seconds), count, rate_hz, None)
    _say(f"daemon, 1 board, 200 samples/s, {PAGES} pages open")
    looked_at = run(False, 1, 200, port, folder / "pages", 10, pages=PAGES)
    yield Row(f"CPU of a daemon with {PAGES} pages open", 100 * looked_at.load.cpu_share, "%", "<", 5, "of a core")
    yield from _latency(daemon)
    yield from _memory(daemon)
    yield from _disk(daemon)


def _against(name: str, daemon: Run, naive: Run, goal: float | None) -> Row:
    ours, theirs = daemon.load, naive.load
    detail = (
        f"{ours.samples_per_cpu_s:,.0f} / {theirs.samples_per_cpu_s:,.0f}"
        f" (at {ours.samples / ours.seconds:,.0f} and {theirs.samples / theirs.seconds:,.0f} samples/s)"
    )
    return Row(name, ours.samples_per_cpu_s / theirs.samples_per_cpu_s, "x", ">=" if goal else "", goal, detail)


def _share(measured: Run, count: int, rate_hz: int, goal: float | None) -> Row:
    load = measured.load
    name = f"CPU of a daemon, {count} board{'s' if count > 1 else ''}, {rate_hz} samples/s"
    detail = f"of a core each; boards at most {measured.late_s * 1e3:.0f} ms late, {measured.lost_bytes} bytes lost"
    return Row(name, 100 * load.cpu_share, "%", "<=" if goal else "", goal, detail)


def _latency(daemon: Run) -> Iterator[Row]:
    found_ms = [1e3 * each for each in latencies_s(daemon, 1000)]
    hops_ms = [1e3 * each for each in daemon.watch.hops_s]
    detail = f"{len(found_ms)} live messages; goal is a tick (50 ms) + 2 ms"
    yield Row("newest sample to subscriber, p50", percentile(found_ms, 50), "ms")
    yield Row("newest sample to subscriber, p99", percentile(found_ms, 99), "ms", "<=", 52, detail)
    yield Row("broker's own hop, p50", percentile(hops_ms, 50), "ms", detail=f"{len(hops_ms)} probes, plain sockets")
    yield Row("broker's own hop, p99", percentile(hops_ms, 99), "ms")


def _memory(daemon: Run) -> Iterator[Row]:
    memory, mib = daemon.memory, 1 << 20
    own = f"its own (uss) {memory.uss / mib:.0f} MiB" if hasattr(memory, "uss") else ""
    yield Row("resident memory at 1 kHz", memory.rss / 1e6, "MB", "<", 60, own)


def _disk(daemon: Run) -> Iterator[Row]:
    (folder,) = daemon.folders
    live = offline.stored(folder / "boretight.db")
    log_bytes = sum(path.stat().st_size for path in (folder / "raw").iterdir())
    detail = f"{live.samples:,} samples of a 12-bit board at 1 kHz"
    yield Row("sample blocks, live at 1 kHz", live.block_bytes, "bytes a sample", "<=", 1.75, detail)
    yield Row("raw log, live at 1 kHz", log_bytes / live.samples, "bytes a sample", detail="a line is 39 bytes")


def _replaying(folder: Path) -> Iterator[Row]:
    for rate_hz, seconds in ((200, 1200), (1000, 600)):
        _say(f"replay of {seconds // 60} minutes at {rate_hz} samples/s")
        log, database = folder / f"{rate_hz}.btlog", folder / f"{rate_hz}.db"
        offline.write_log(log, rate_hz, seconds)
        plain_s, stored_s = offline.replay_s(log), offline.replay_into_s(log, database)
        stored = offline.stored(database)
        detail = f"{rate_hz * seconds / plain_s:,.0f} samples/s"
        yield Row(f"replay at {rate_hz} samples/s, real time", seconds / plain_s, "x", ">=", 1000, detail)
        yield Row(f"replay at {rate_hz} samples/s into a database", seconds / stored_s, "x")
        yield Row(f"sample blocks, replayed at {rate_hz}", stored.block_bytes, "bytes a sample", "<=", 1.75)
        yield Row(f"whole database, replayed at {rate_hz}", stored.database_bytes, "bytes a sample")


if __name__ == "__main__":
    main()
