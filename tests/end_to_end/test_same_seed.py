"""The same seed gives the same bytes, and the same bytes give the same database."""

from __future__ import annotations

import json
from pathlib import Path

from daq.records import Board, Chunk, LineFormat, LinkUp
from daq.sinks.raw_log import RawLogHeader, write_raw_log
from tests.end_to_end.bench import SCRIPTS, Bench, completed
from tests.end_to_end.stored import Rows, measured, the_whole_engine

CONFIG = {"engine": {"name": "invented four", "firing_order": "1-3-4-2"}}


def test_rendered_and_replayed_twice_it_is_the_same(bench: Bench) -> None:
    first, second = _rendered_and_replayed(bench, "first", 7), _rendered_and_replayed(bench, "second", 7)
    assert first == second
    assert all(first.values())
    the_whole_engine(first["cylinder_result"])
    other = _rendered_and_replayed(bench, "other", 8, "--seconds", 5)
    assert other["reading"][:3] != first["reading"][:3], "other noise"


def _rendered_and_replayed(bench: Bench, name: str, seed: int, *options: object) -> dict[str, Rows]:
    pieces, log, database = (bench.folder / f"{name}.{suffix}" for suffix in ("jsonl", "btlog.gz", "db"))
    rendering = ("render", "four-cylinder", pieces, "--format", "jsonl", "--seed", seed, *options)
    assert completed([SCRIPTS / "boretight-simulator", *rendering], bench.env).returncode == 0
    write_raw_log(log, RawLogHeader("rendered", "a run", config=CONFIG), _inputs(pieces))
    replayed = bench.run("replay", log, "--into", database)
    assert replayed.returncode == 0, replayed.stderr
    return measured(database)


def _inputs(pieces: Path) -> list[LinkUp | Chunk]:
    """As a host would have seen it: a board of 12 bits that sends 200 samples a second."""
    chunks = [json.loads(line) for line in pieces.read_text(encoding="utf-8").splitlines()]
    board = Board(LineFormat.FRAMED, 12, rate_hz=200.0)
    return [LinkUp(0.0, board), *(Chunk(chunk["t_s"], chunk["data"].encode("latin-1")) for chunk in chunks[1:])]
