"""The property that holds the house together: the same bytes, split in any way, give identical records."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from daq.measure.calibration import assumed_calibration
from daq.pipeline import Pipeline, run
from daq.procedure import EngineOrder
from daq.records import (
    BadLines,
    Board,
    Chunk,
    CylinderDone,
    Expectation,
    Gap,
    Input,
    Instrument,
    LineFormat,
    LinkDown,
    LinkUp,
    Mark,
    Marked,
    Readings,
    Record,
    Restarted,
    Samples,
    StableReading,
    SupplyChange,
    Tap,
    TestDone,
)
from daq.units import M_PER_INCH, PA_PER_PSI
from simulator.scenario import load
from simulator.simulation import render

INSTRUMENT = Instrument(0.040 * M_PER_INCH, 0.8, 0.5283, 101_325.0, 293.15, 100 * PA_PER_PSI, 2 * PA_PER_PSI)
BOARD = Board(LineFormat.FRAMED, 12, rate_hz=200.0)


STREAMS = ("four-cylinder", "rough-line", "lossy")


@functools.cache
def stream(name: str) -> bytes:
    """The bytes of a scenario; `lossy` misses whole lines without a trace of damage."""
    if name == "lossy":
        lines = stream("four-cylinder").splitlines(keepends=True)
        return b"".join(line for place, line in enumerate(lines) if place % 97)
    return b"".join(data for _, data in render(load(name), seed=5))


def records(inputs: Iterable[Input]) -> list[Record]:
    engine = EngineOrder("invented four", (1, 3, 4, 2))
    return list(run(Pipeline(INSTRUMENT, assumed_calibration(), engine), inputs))


def pieces(data: bytes, cuts: Iterable[int]) -> list[bytes]:
    places = [0, *sorted({cut for cut in cuts if 0 < cut < len(data)}), len(data)]
    return [data[start:stop] for start, stop in itertools.pairwise(places)]


def from_board(parts: Sequence[bytes]) -> list[Input]:
    return [LinkUp(0.0, BOARD), *(Chunk(float(place), part) for place, part in enumerate(parts))]


def rows(found: Iterable[Record], kind: type) -> list[np.ndarray]:
    """Each column of all records of one array type, joined; the segment becomes a column too."""
    blocks = [record for record in found if isinstance(record, kind)]
    columns = [field.name for field in fields(kind) if field.name != "segment"]
    joined = [np.concatenate([getattr(block, column) for block in blocks]) for column in columns]
    segments = np.concatenate([np.full(len(getattr(b, columns[0])), b.segment) for b in blocks])
    return [*joined, segments]


def assert_identical(found: list[Record], expected: list[Record]) -> None:
    assert events(found) == events(expected)
    for kind in (Samples, Readings):
        for mine, other in zip(rows(found, kind), rows(expected, kind), strict=True):
            np.testing.assert_array_equal(mine, other)


def events(found: Iterable[Record]) -> list[Record]:
    return [record for record in found if not isinstance(record, Samples | Readings)]


@functools.cache
def whole(scenario: str) -> list[Record]:
    return records(from_board([stream(scenario)]))


def test_the_whole_flow_was_exercised() -> None:
    """Without this the property could hold on silence."""
    kinds = {type(record) for record in whole("four-cylinder")}
    assert {Samples, Readings, Expectation, StableReading, Tap, SupplyChange, CylinderDone, TestDone} <= kinds
    kinds = {type(record) for record in whole("rough-line")}
    assert {Gap, BadLines, Restarted, Marked} <= kinds


@pytest.mark.parametrize("scenario", STREAMS)
def test_frame_by_frame_is_the_whole_file(scenario: str) -> None:
    lines = stream(scenario).splitlines(keepends=True)
    assert_identical(records(from_board(lines)), whole(scenario))


def test_byte_by_byte_is_the_whole_file() -> None:
    data = stream("rough-line")
    assert_identical(records(from_board([bytes([byte]) for byte in data])), whole("rough-line"))


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 400))
def test_any_split_is_the_whole_file(seed: int, count: int) -> None:
    for scenario in STREAMS:
        data = stream(scenario)
        cuts = np.random.default_rng(seed).integers(1, len(data), count)
        assert_identical(records(from_board(pieces(data, cuts.tolist()))), whole(scenario))


@settings(max_examples=10, deadline=None)
@given(where=st.floats(0.0, 1.0), seed=st.integers(0, 2**32 - 1))
def test_a_mark_and_a_lost_line_keep_their_place_in_the_stream(where: float, seed: int) -> None:
    data = stream("four-cylinder")
    place = int(where * len(data))
    between: list[Input] = [Mark(1.0, "note", "hiss"), LinkDown(2.0, "cable"), LinkUp(3.0, BOARD)]

    def inputs(cuts: Sequence[int]) -> list[Input]:
        before, after = pieces(data[:place], cuts), pieces(data[place:], cuts)
        chunks = [[Chunk(0.0, part) for part in parts] for parts in (before, after)]
        return [LinkUp(0.0, BOARD), *chunks[0], *between, *chunks[1]]

    cuts = np.random.default_rng(seed).integers(1, len(data), 50).tolist()
    assert_identical(records(inputs(cuts)), records(inputs([])))


def test_what_came_before_the_handshake_measures_nothing() -> None:
    found = records([Chunk(0.0, stream("four-cylinder")[:50_000])])
    assert found == []
