"""From deliveries to committed rows: one delivery, one transaction. For one thread."""

from __future__ import annotations

import copy
import logging
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Protocol

from daq.records import (
    CylinderDone,
    Delivery,
    Event,
    Finding,
    LinkChange,
    Readings,
    Samples,
    Session,
    StableReading,
    TestDone,
    TestStarted,
    Withdrawn,
)
from daq.sinks.store.blocks import OpenBlock, concatenate, pieces
from daq.sinks.store.database import Database
from daq.sinks.store.engine_tests import finding_row, insert, told_again, withdraw
from daq.sinks.store.outbox import OutboxItem
from daq.sinks.store.rows import Row, detail_of, finite, kind_of, reading_rows, stable_row, utc_text
from daq.sinks.store.sample_blocks import encode
from daq.units import PressureUnit

_log = logging.getLogger(__name__)


class Renderer(Protocol):
    """Makes the messages that announce events."""

    def stream_of(self, event: Event) -> str | None: ...

    def event_body(
        self, event: Event, *, bench: str, boot: str, seq: int, utc_s: float, unit: PressureUnit
    ) -> tuple[str, str] | None: ...


@dataclass(frozen=True, slots=True)
class Identity:
    """Whose events these are: for the database and for the messages."""

    boot_id: int
    bench: str
    boot: str
    unit: PressureUnit


@dataclass(slots=True)
class _State:
    """What the next transaction builds on. A copy is worked on, and takes its place once it is committed."""

    seq: dict[str, int] = field(default_factory=dict)
    engine: str = ""
    test_id: int | None = None
    reading_second: dict[int, int] = field(default_factory=dict)
    block: OpenBlock = field(default_factory=OpenBlock)


class Writer:
    """`renderer` None: nothing is announced. `test_id` is the test that is gone on with, if one is."""

    def __init__(
        self, database: Database, identity: Identity, renderer: Renderer | None, test_id: int | None = None
    ) -> None:
        self._db, self._who, self._renderer = database, identity, renderer
        self._state = _State(test_id=test_id)

    def write(self, delivery: Delivery) -> list[OutboxItem]:
        """Commit all of the delivery, or nothing of it; what has to be announced now. Raises sqlite3.Error."""
        items: list[OutboxItem] = []
        state = copy.copy(self._state)
        state.seq, state.reading_second = dict(state.seq), dict(state.reading_second)
        with self._db.atomic():
            self._samples(state, delivery)
            for record in delivery.records:
                if isinstance(record, Readings):
                    self._readings(state, record, delivery.utc_offset_s[record.segment])
                elif not isinstance(record, Samples):
                    items += self._event(state, record, delivery.utc_s(record))
        self._state = state
        return items

    def finish(self, ended_utc: str) -> None:
        """The run is over: what is stored of the last block is joined."""
        with self._db.atomic():
            self._join(self._state.block)
            self._db.execute("UPDATE boot SET ended_utc = ? WHERE id = ?", [ended_utc, self._who.boot_id])
        self._state = _State()

    # ---- samples and readings

    def _samples(self, state: _State, delivery: Delivery) -> None:
        by_segment: dict[int, list[Samples]] = {}
        for record in delivery.records:
            if isinstance(record, Samples) and len(record.t_us):
                by_segment.setdefault(record.segment, []).append(record)
        for segment, parts in by_segment.items():
            for window, piece in pieces(concatenate(parts)):
                if not state.block.takes(window, piece):
                    self._join(state.block)
                    state.block = OpenBlock(int(segment), window, delivery.utc_offset_s[segment])
                state.block = state.block.with_part(piece, self._insert_block(piece, state.block.offset_s))

    def _join(self, block: OpenBlock) -> None:
        if len(block.parts) > 1:
            for row_id in block.row_ids:
                self._db.execute("DELETE FROM sample_block WHERE id = ?", [row_id])
            self._insert_block(concatenate(block.parts), block.offset_s)

    def _insert_block(self, samples: Samples, offset_s: float) -> int:
        start_us, end_us = int(samples.t_us[0]), int(samples.t_us[-1])
        row = {
            "segment": int(samples.segment),
            "start_utc": utc_text(offset_s + start_us * 1e-6),
            "start_us": start_us,
            "end_us": end_us,
            "n": len(samples.t_us),
            "block": encode(samples),
        }
        return self._insert("sample_block", row)

    def _readings(self, state: _State, readings: Readings, offset_s: float) -> None:
        segment = int(readings.segment)
        for row in reading_rows(readings, offset_s, state.reading_second.get(segment)):
            self._insert("reading", row)
            state.reading_second = {segment: int(row["t_s"] // 1)}

    # ---- events

    def _event(self, state: _State, event: Event, utc_s: float) -> Iterable[OutboxItem]:
        utc = utc_text(utc_s)
        cylinder = getattr(event, "cylinder", None)
        row: Row = {
            "segment": int(event.segment),
            "t_s": float(event.t_s),
            "t_utc": utc,
            "kind": kind_of(event),
            "cylinder": cylinder,
            "detail": detail_of(event),
        }
        stream, seq, body = self._render(state, event, utc_s)
        event_id = self._insert("event", row | {"stream": stream, "seq": seq, "body": body})
        self._details(state, event, event_id, utc)
        if stream is not None and seq is not None and body is not None:
            yield OutboxItem(event_id, stream, seq, body, cylinder, utc_s)

    def _render(self, state: _State, event: Event, utc_s: float) -> tuple[str | None, int | None, str | None]:
        """Stream, number and body of the message; an event that cannot be told is stored all the same."""
        stream = self._renderer.stream_of(event) if self._renderer else None
        if self._renderer is None or stream is None:
            return None, None, None
        seq, who = state.seq.get(stream, 0), self._who
        try:
            rendered = self._renderer.event_body(
                event, bench=who.bench, boot=who.boot, seq=seq, utc_s=utc_s, unit=who.unit
            )
        except Exception:
            _log.exception("no message can be made of %s", event)
            rendered = None
        if rendered is None:
            return None, None, None
        state.seq[stream] = seq + 1
        return stream, seq, rendered[1]

    def _details(self, state: _State, event: Event, event_id: int, utc: str) -> None:
        """The tables of their own that some types of events have."""
        match event:
            case Session():
                state.engine = event.engine
                state.test_id = state.test_id or self._test_of_another_run(event.test)
            case StableReading():
                self._calibration(event.calibration_id, utc)
                test_id = state.test_id if event.cylinder is not None else None
                row = stable_row(event, utc, state.engine) | {"test_id": test_id, "event_id": event_id}
                self._insert("stable_reading", row)
            case CylinderDone():
                told_again(self._db, state.test_id, event, utc)
                self._insert("cylinder_result", self._result_row(state, event, utc) | {"event_id": event_id})
            case LinkChange(board=board) if board is not None:
                self._insert("board", asdict(board) | {"segment": int(event.segment), "t_utc": utc})
            case _:
                self._of_the_test(state, event, event_id, utc)

    def _of_the_test(self, state: _State, event: Event, event_id: int, utc: str) -> None:
        match event:
            case TestStarted():
                state.engine = event.engine
                state.test_id = self._insert("test", self._test_row(event, utc) | {"event_id": event_id})
            case TestDone():
                self._end_test(state, event, utc)
            case Finding() if state.test_id is not None:
                row = finding_row(event, utc) | {"test_id": state.test_id, "event_id": event_id}
                insert(self._db, "finding", row)
            case Withdrawn() if state.test_id is not None:
                withdraw(self._db, state.test_id, event, utc)

    def _test_of_another_run(self, name: str) -> int | None:
        """The test that this run goes on with, where nobody has said which row it has: as in a replay."""
        found = self._db.execute("SELECT max(id) FROM test WHERE name = ?", [name]).fetchone()[0]
        return None if found is None else int(found)

    def _calibration(self, calibration_id: str, utc: str) -> None:
        """A reading is never refused because nobody described its calibration."""
        columns = "id, stored_utc, origin, date, content"
        sql = f"INSERT OR IGNORE INTO calibration ({columns}) VALUES (?, ?, 'not described', '', '{{}}')"
        self._db.execute(sql, [calibration_id, utc])

    def _result_row(self, state: _State, done: CylinderDone, utc: str) -> Row:
        row: Row = {"t_utc": utc, "engine": state.engine, "cylinder": done.cylinder, "taps": done.taps}
        row |= {"test_id": state.test_id, "attempt": done.attempt}
        for name, reading in (("as_found", done.as_found), ("after_tap", done.after_tap)):
            row |= {
                f"{name}_loss_at_set_pct": finite(reading.loss_at_set_pct) if reading else None,
                f"{name}_u_loss_pct": finite(reading.u_loss_pct) if reading else None,
                f"{name}_reading_id": self._reading_id(state, reading) if reading else None,
            }
        return row

    def _reading_id(self, state: _State, reading: StableReading) -> int | None:
        """In a test that was gone on with, the reading may be of an earlier run."""
        sql = "SELECT max(id) FROM stable_reading WHERE (boot_id = ? OR test_id = ?) AND segment = ? AND t_s = ?"
        found = self._db.execute(sql, [self._who.boot_id, state.test_id, reading.segment, reading.t_s]).fetchone()[0]
        return None if found is None else int(found)

    def _test_row(self, started: TestStarted, utc: str) -> Row:
        """A name that is taken, as when a raw log is replayed into its own database, is made another one."""
        taken = self._db.execute("SELECT 1 FROM test WHERE name = ?", [started.test]).fetchone()
        name = f"{started.test} in {self._who.boot}" if taken else started.test
        return {"name": name, "engine": started.engine, "plan": started.plan, "started_utc": utc}

    def _end_test(self, state: _State, done: TestDone, utc: str) -> None:
        sql = "UPDATE test SET ended_utc = ?, complete = ?, skipped = ? WHERE id = ?"
        skipped = " ".join(map(str, done.skipped))
        self._db.execute(sql, [utc, int(done.complete), skipped, state.test_id])

    def _insert(self, table: str, row: Mapping[str, object]) -> int:
        """The id of the new row, which gets this run's `boot_id`."""
        return insert(self._db, table, {"boot_id": self._who.boot_id, **row})
