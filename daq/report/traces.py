"""The pressures of each attempt at a cylinder, from its air until it was vented, out of the stored samples."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from daq.measure import leakage
from daq.measure.calibration import pressures
from daq.measure.ticks import TickGrid
from daq.records import Board, Calibration, Floats, LineFormat, ReferenceMode, Samples
from daq.report.test_record import Attempt, TestRecord
from daq.sinks.store.blocks import concatenate
from daq.sinks.store.database import Database
from daq.sinks.store.sample_blocks import decode

MOST_POINTS = 420
"""More than that no page of paper resolves."""
AFTER_THE_LAST_S = 2.0
"""How far a trace goes on where it is not known when the cylinder was vented."""


@dataclass(frozen=True, slots=True)
class Trace:
    """`t_s` counts from the air; pressures in Pa gauge, as the calibration gives them, without an adjusted zero.

    `as_found_s`, `after_tap_s`: when those readings were captured; `taps_s`: when the valves were tapped.
    """

    cylinder: int
    attempt: int
    t_s: Floats
    supply_pa: Floats
    cylinder_pa: Floats
    loss_pct: Floats
    as_found_s: float
    after_tap_s: float | None
    taps_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Window:
    """A piece of one segment of one run, on the board's clock."""

    boot_id: int
    segment: int
    start_s: float
    end_s: float


def traces(database: Database, record: TestRecord) -> tuple[Trace, ...]:
    """One for each attempt that counts and whose samples are there, in the order of the test."""
    if record.calibration is None:
        return ()
    happened = _happened(database, record)
    found = (_trace(database, each, record, record.calibration, happened) for each in record.attempts if each.counts)
    return tuple(trace for trace in found if trace is not None)


_EVENTS = """
    SELECT boot_id, segment, t_s, kind, detail FROM event
    WHERE kind IN ('air_change', 'tap') AND boot_id IN ({boots}) AND id > ? ORDER BY id
"""


def _happened(database: Database, record: TestRecord) -> list[dict[str, Any]]:
    """The air that went on and the taps; the first air of a test comes just before it or just after it."""
    boots = sorted({boot for each in record.attempts for boot in (each.boot_id, each.reading_boot_id)})
    marks = ", ".join("?" * len(boots))
    return list(database.query(_EVENTS.format(boots=marks), [*boots, record.event_id - 10]))


def _trace(
    database: Database,
    attempt: Attempt,
    record: TestRecord,
    calibration: Calibration,
    happened: Sequence[Mapping[str, Any]],
) -> Trace | None:
    window = _window(attempt, happened)
    board, samples = _board(database, window), _samples(database, window)
    if board is None or samples is None:
        return None
    found = pressures(TickGrid().feed(samples), board, calibration)
    inside = (found.t_s >= window.start_s) & (found.t_s <= window.end_s)
    kept = np.flatnonzero(inside)[:: max(1, -(-int(inside.sum()) // MOST_POINTS))]
    supply_pa, cylinder_pa = found.supply_gauge_pa[kept], found.cylinder_gauge_pa[kept]
    supplied = supply_pa > leakage.NO_SUPPLY * record.instrument.set_point_pa
    done = attempt.done
    return Trace(
        done.cylinder,
        done.attempt,
        found.t_s[kept] - window.start_s,
        supply_pa,
        cylinder_pa,
        leakage.loss_pct(np.where(supplied, supply_pa, np.nan), cylinder_pa),
        done.as_found.t_s - window.start_s,
        None if done.after_tap is None else done.after_tap.t_s - window.start_s,
        tuple(_taps(window, happened)),
    )


def _window(attempt: Attempt, happened: Sequence[Mapping[str, Any]]) -> _Window:
    """In the run and segment in which the cylinder was captured as found; it may have been vented in a later one."""
    done, boot = attempt.done, attempt.reading_boot_id
    segment, captured_s = done.as_found.segment, done.as_found.t_s
    here = (boot, segment) == (attempt.boot_id, done.segment)
    end_s = done.t_s if here else captured_s + AFTER_THE_LAST_S
    on = [
        row["t_s"]
        for row in happened
        if (row["boot_id"], row["segment"]) == (boot, segment)
        and row["t_s"] < captured_s
        and json.loads(row["detail"]).get("state") == "on"
    ]
    return _Window(boot, segment, on[-1] if on else captured_s - done.as_found.window_s, end_s)


def _taps(window: _Window, happened: Sequence[Mapping[str, Any]]) -> Iterator[float]:
    for row in happened:
        if row["kind"] == "tap" and (row["boot_id"], row["segment"]) == (window.boot_id, window.segment):
            onset_s = json.loads(row["detail"])["onset_s"]
            if window.start_s <= onset_s <= window.end_s:
                yield onset_s - window.start_s


_BLOCKS = """
    SELECT block FROM sample_block
    WHERE boot_id = ? AND segment = ? AND end_us >= ? AND start_us <= ? ORDER BY start_us
"""
_BOARD = """
    SELECT bits, reference_mode, line_format FROM board WHERE boot_id = ? AND segment <= ? ORDER BY segment DESC LIMIT 1
"""


def _samples(database: Database, window: _Window) -> Samples | None:
    values = [window.boot_id, window.segment, int(window.start_s * 1e6), int(window.end_s * 1e6)]
    parts = [decode(row["block"], window.segment) for row in database.query(_BLOCKS, values)]
    return concatenate(parts) if parts else None


def _board(database: Database, window: _Window) -> Board | None:
    """A board that restarted is the one that was greeted before."""
    rows = list(database.query(_BOARD, [window.boot_id, window.segment]))
    if not rows:
        return None
    row = rows[0]
    return Board(LineFormat(row["line_format"]), row["bits"], ReferenceMode(row["reference_mode"]))
