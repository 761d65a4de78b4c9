"""One run of the daemon, and its entry in the database."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from daq.errors import ConfigError, StorageError
from daq.records import Calibration
from daq.sinks.store.rows import calibration_row

if TYPE_CHECKING:
    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class Boot:
    """A run of the daemon, or a replay. `name` is new each time; `config` is kept as what JSON makes of it."""

    bench: str
    name: str
    software: str = ""
    raw_log: str = ""
    config: Mapping[str, Any] = field(default_factory=dict)


def register(database: Database, boot: Boot, calibrations: Sequence[Calibration], utc: str) -> tuple[int, int]:
    """Enter a run and its calibrations; the ids of its boot and its bench.

    StorageError if there was a boot of that name, ConfigError if a calibration has changed but not its id.
    """
    with database.atomic():
        for calibration in calibrations:
            _keep_calibration(database, calibration_row(calibration), utc)
        database.execute("INSERT OR IGNORE INTO bench (name) VALUES (?)", [boot.bench])
        (bench_id,) = database.execute("SELECT id FROM bench WHERE name = ?", [boot.bench]).fetchone()
        if database.execute("SELECT 1 FROM boot WHERE name = ?", [boot.name]).fetchone():
            raise StorageError(f"The run {boot.name} is already in the database.", "Give this one a name of its own.")
        sql = "INSERT INTO boot (name, bench_id, started_utc, software, raw_log, config) VALUES (?, ?, ?, ?, ?, ?)"
        config = json.dumps(boot.config, default=_plain)
        boot_id = database.execute(sql, [boot.name, bench_id, utc, boot.software, boot.raw_log, config]).lastrowid
    assert boot_id is not None
    return boot_id, int(bench_id)


def left_at(database: Database, bench: str, since_utc: str) -> int | None:
    """The cylinder that the bench's last run was at when it was killed; None if it ended properly or long ago."""
    sql = """
        SELECT boot.ended_utc, (
            SELECT json_extract(detail, '$.cylinder') FROM event
            WHERE boot_id = boot.id AND kind = 'session' AND t_utc > ? ORDER BY event.id DESC LIMIT 1
        ) FROM boot JOIN bench ON bench.id = boot.bench_id WHERE bench.name = ? ORDER BY boot.id DESC LIMIT 1
    """
    ended_utc, cylinder = database.execute(sql, [since_utc, bench]).fetchone() or (None, None)
    return None if ended_utc else cylinder


def _keep_calibration(database: Database, row: dict[str, Any], utc: str) -> None:
    columns = ", ".join(row)
    known = database.execute(f"SELECT {columns} FROM calibration WHERE id = ?", [row["id"]]).fetchone()
    if known is None:
        marks = ", ".join("?" * (len(row) + 1))
        database.execute(f"INSERT INTO calibration ({columns}, stored_utc) VALUES ({marks})", [*row.values(), utc])
    elif known != tuple(row.values()):
        raise ConfigError(
            f"The calibration {row['id']} has other values than when readings were stored with it.",
            "Give the changed calibration an id of its own; the old one stays as it is.",
            f"stored {known}, now {tuple(row.values())}",
        )


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else str(value)
