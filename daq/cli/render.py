"""`boretight render`: a simulated board straight to a raw log; the same seed gives the same file."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TextIO

from daq.daemon.bench import software
from daq.errors import UsageError
from daq.records import Board, Chunk, Input, LineFormat, LinkDown, LinkUp, ReferenceMode
from daq.sinks.payloads import rfc3339
from daq.sinks.raw_log import RawLogHeader, write_raw_log

STARTS_S = datetime(2026, 1, 1, tzinfo=UTC).timestamp()
"""The log must not depend on the day it is made."""


def render(scenario: str, out: Path, seed: int, seconds: float | None) -> None:
    """The simulator runs in a process of its own, as everywhere. Raises UsageError with what it said."""
    with tempfile.TemporaryDirectory(prefix="boretight-") as folder:
        pieces = Path(folder) / "pieces.jsonl"
        _simulate(scenario, pieces, seed, seconds)
        with pieces.open(encoding="utf-8") as lines:
            header = RawLogHeader(bench=scenario_name(scenario), boot=f"seed-{seed}", created_utc=rfc3339(STARTS_S),
                                  software=software())  # fmt: skip
            count = write_raw_log(out, header, _inputs(lines))
    print(f"{count} inputs written to {out}.", file=sys.stderr)


def scenario_name(scenario: str) -> str:
    """A built-in name as it is, a path without folder and ending."""
    return Path(scenario).stem


def _simulate(scenario: str, pieces: Path, seed: int, seconds: float | None) -> None:
    command = [sys.executable, "-m", "simulator", "render", scenario, str(pieces), "--format", "jsonl"]
    command += ["--seed", str(seed)] + ([] if seconds is None else ["--seconds", str(seconds)])
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise UsageError(
            f"The scenario {scenario!r} cannot be rendered.",
            "`boretight-simulator list` names those built in.",
            done.stderr.strip()[-500:],
        )


def _inputs(lines: TextIO) -> Iterator[Input]:
    """The first line tells the board, each other one a piece of the stream and its time."""
    yield LinkUp(STARTS_S, _board(json.loads(next(lines))["board"]))
    at_s = STARTS_S
    for line in lines:
        piece = json.loads(line)
        at_s = STARTS_S + piece["t_s"]
        yield Chunk(at_s, piece["data"].encode("latin-1"))
    yield LinkDown(at_s, "the scenario is over")


def _board(said: dict[str, Any]) -> Board:
    return Board(
        line_format=LineFormat.BARE if said["bare"] else LineFormat.FRAMED,
        bits=said["bits"],
        reference_mode=ReferenceMode(said["reference"]),
        rate_hz=None if said["bare"] else float(said["rate_hz"]),
        maker=said["maker"],
        model=said["model"],
        serial=said["serial"],
        firmware=said["firmware"],
        url="simulated",
    )
