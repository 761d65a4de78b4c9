"""One run of the daemon, and its entry in the database."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from daq.errors import ConfigError, StorageError
from daq.records import Calibration, Event
from daq.sinks.event_json import FOLLOWED_KINDS, event_from
from daq.sinks.store.database import Database
from daq.sinks.store.rows import calibration_row


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


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A test that a run was in the middle of when it ended: its row, and what had happened in it; `before` is what air
    and supply were when it began."""

    test_id: int
    events: tuple[Event, ...]
    before: tuple[Event, ...] = ()


# A run that was killed before it noted anything says nothing of the test. A finding may be added long after its run; it
# makes the run no younger.
NEWEST_RUN = """
    SELECT boot.ended_utc, event.t_utc
    FROM event JOIN boot ON boot.id = event.boot_id JOIN bench ON bench.id = boot.bench_id
    WHERE bench.name = ? AND boot.name NOT LIKE 'replay-%' AND event.kind <> 'finding'
    ORDER BY event.id DESC LIMIT 1
"""
NEWEST_TEST = """
    SELECT test.id, test.event_id, test.ended_utc, json_extract(test.plan, '$.explicit'), test.boot_id
    FROM test JOIN boot ON boot.id = test.boot_id JOIN bench ON bench.id = boot.bench_id
    WHERE bench.name = ? AND boot.name NOT LIKE 'replay-%' ORDER BY test.id DESC LIMIT 1
"""
FOLLOWED_EVENTS = f"""
    SELECT kind, detail FROM event JOIN boot ON boot.id = event.boot_id JOIN bench ON bench.id = boot.bench_id
    WHERE event.id >= ? AND bench.name = ? AND boot.name NOT LIKE 'replay-%'
        AND kind IN ({", ".join("?" * len(FOLLOWED_KINDS))}) ORDER BY event.id
"""
LAST_BEFORE = """
    SELECT kind, detail FROM event WHERE id IN (
        SELECT max(id) FROM event WHERE boot_id = ? AND id < ? AND kind IN ('air_change', 'supply_change') GROUP BY kind
    ) ORDER BY id
"""


def unfinished(database: Database, bench: str, since_utc: str) -> Unfinished | None:
    """The newest test of the bench, if it is not done and not older than `since_utc`.

    One that had begun by itself is gone on with only after a run that was killed; one that was started, also after a
    run that was stopped. Replays (`replay-...`) leave nothing behind.
    """
    run = database.execute(NEWEST_RUN, [bench]).fetchone()
    test = database.execute(NEWEST_TEST, [bench]).fetchone()
    if run is None or test is None:
        return None
    stopped_utc, last_utc = run
    test_id, event_id, ended_utc, explicit, boot_id = test
    if ended_utc or (stopped_utc and not explicit) or last_utc <= since_utc:
        return None
    events = _events(database, FOLLOWED_EVENTS, [event_id, bench, *FOLLOWED_KINDS])
    return Unfinished(test_id, events, _events(database, LAST_BEFORE, [boot_id, event_id]))


def _events(database: Database, query: str, values: Sequence[Any]) -> tuple[Event, ...]:
    rows = database.execute(query, values).fetchall()
    return tuple(event_from(kind, json.loads(detail)) for kind, detail in rows)


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
