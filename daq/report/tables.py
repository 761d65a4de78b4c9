"""What can be exported: the columns of each table, and its rows out of the database."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import ClassVar, Protocol

import numpy as np

from daq.errors import DataError
from daq.report.formats import Columns, Kind, Row
from daq.sinks.store import StoredBlock, read_blocks
from daq.sinks.store.database import Database

BATCH_ROWS = 20_000
LONGEST_BLOCK = timedelta(seconds=61)

TEXT, REAL, INTEGER, JSON = Kind.TEXT, Kind.REAL, Kind.INTEGER, Kind.JSON


@dataclass(frozen=True, slots=True)
class Choice:
    """Which rows: of one boot or of all, from a time on (text, as in the database)."""

    boot: str | None = None
    since_utc: str | None = None


class Table(Protocol):
    """`count` may be more than what `batches` gives. `on_damage` is told of rows that cannot be read."""

    @property
    def columns(self) -> Columns: ...

    def count(self, database: Database, choice: Choice) -> int: ...

    def batches(
        self, database: Database, choice: Choice, on_damage: Callable[[DataError], None]
    ) -> Iterator[Sequence[Row]]: ...


@dataclass(frozen=True, slots=True)
class PlainTable:
    """A table of the database with the names of bench and boot."""

    name: str
    columns: Columns

    def count(self, database: Database, choice: Choice) -> int:
        return int(database.execute(f"SELECT count(*) {self._rows}", self._values(choice)).fetchone()[0])

    def batches(
        self, database: Database, choice: Choice, on_damage: Callable[[DataError], None]
    ) -> Iterator[Sequence[Row]]:
        sql = f"SELECT {', '.join(map(self._source, self.columns))} {self._rows} ORDER BY {self.name}.id"
        cursor = database.execute(sql, self._values(choice))
        while rows := cursor.fetchmany(BATCH_ROWS):
            yield rows

    @property
    def _rows(self) -> str:
        return f"""
            FROM {self.name} JOIN boot ON boot.id = {self.name}.boot_id JOIN bench ON bench.id = boot.bench_id
            WHERE (:boot IS NULL OR boot.name = :boot) AND (:since IS NULL OR {self.name}.t_utc >= :since)
        """

    def _source(self, column: str) -> str:
        return {"bench": "bench.name", "boot": "boot.name"}.get(column, f"{self.name}.{column}")

    def _values(self, choice: Choice) -> dict[str, str | None]:
        return {"boot": choice.boot, "since": choice.since_utc}


class SampleTable:
    """Every sample as the board sent it, unpacked."""

    columns: ClassVar[Columns] = {
        "boot": TEXT, "segment": INTEGER, "t_utc": TEXT, "t_us": INTEGER,
        "supply_count": INTEGER, "cylinder_count": INTEGER, "reference": INTEGER, "flags": INTEGER,
    }  # fmt: skip

    def count(self, database: Database, choice: Choice) -> int:
        return sum(stored.n for stored in self._blocks(database, choice))

    def batches(
        self, database: Database, choice: Choice, on_damage: Callable[[DataError], None]
    ) -> Iterator[Sequence[Row]]:
        since = np.datetime64(choice.since_utc.removesuffix("Z"), "us") if choice.since_utc else None
        for stored in self._blocks(database, choice):
            try:
                yield _unpacked(stored, since)
            except DataError as error:
                on_damage(error)

    def _blocks(self, database: Database, choice: Choice) -> Iterator[StoredBlock]:
        """Also the one that begins before the time asked for and reaches into it."""
        since_utc = choice.since_utc
        if since_utc is not None:
            since_utc = (datetime.fromisoformat(since_utc) - LONGEST_BLOCK).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        return read_blocks(database, choice.boot, since_utc)


def _unpacked(stored: StoredBlock, since: np.datetime64 | None) -> list[Row]:
    samples = stored.samples()
    t_utc = np.datetime64(stored.start_utc.removesuffix("Z"), "us") + (samples.t_us - stored.start_us)
    kept = slice(None) if since is None else slice(int(np.searchsorted(t_utc, since)), None)
    columns = (
        [f"{text}Z" for text in np.datetime_as_string(t_utc[kept], "us").tolist()],
        samples.t_us[kept].tolist(),
        samples.supply_count[kept].tolist(),
        samples.cylinder_count[kept].tolist(),
        samples.reference[kept].tolist(),
        samples.flags[kept].tolist(),
    )
    return [(stored.boot, stored.segment, *row) for row in zip(*columns, strict=True)]


_HEAD: Columns = {"bench": TEXT, "boot": TEXT}
_PLACE: Columns = {"segment": INTEGER, "t_utc": TEXT, "t_s": REAL}

TABLES: dict[str, Table] = {
    "readings": PlainTable(
        "reading",
        _HEAD | _PLACE | {
            "supply_gauge_pa": REAL, "cylinder_gauge_pa": REAL, "loss_pct": REAL, "loss_at_set_pct": REAL,
            "leak_area_mm2": REAL, "flow_g_s": REAL, "supply_held": INTEGER, "stable": INTEGER, "flags": INTEGER,
        },
    ),
    "stable": PlainTable(
        "stable_reading",
        _HEAD | _PLACE | {
            "engine": TEXT, "cylinder": INTEGER, "phase": TEXT, "window_s": REAL,
            "supply_gauge_pa": REAL, "cylinder_gauge_pa": REAL, "loss_pct": REAL, "u_loss_pct": REAL,
            "loss_at_set_pct": REAL, "reference_loss_pct": REAL, "area_ratio": REAL, "leak_area_mm2": REAL,
            "leak_diameter_mm": REAL, "flow_g_s": REAL, "flow_anr_l_min": REAL,
            "expanded_u_loss_pct": REAL, "coverage_factor": REAL, "degrees_of_freedom": REAL, "noise_pct": REAL,
            "u_leak_area_mm2": REAL, "u_flow_g_s": REAL, "u_reference_loss_pct": REAL, "calibration_id": TEXT,
        },
    ),
    "events": PlainTable("event", _HEAD | _PLACE | {"kind": TEXT, "cylinder": INTEGER, "detail": JSON}),
    "samples": SampleTable(),
    "cylinders": PlainTable(
        "cylinder_result",
        _HEAD | {
            "t_utc": TEXT, "engine": TEXT, "cylinder": INTEGER, "taps": INTEGER,
            "as_found_loss_at_set_pct": REAL, "as_found_u_loss_pct": REAL,
            "after_tap_loss_at_set_pct": REAL, "after_tap_u_loss_pct": REAL,
        },
    ),
}  # fmt: skip
