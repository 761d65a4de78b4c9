"""The tables, step by step. A step that has been released is never changed; a new one is added below it.

Times ending in `_utc` are text, RFC 3339 in UTC with six decimals, so they sort as they stand. `t_s` and `_us` are
the board's clock within a segment of a boot. The number of the last step made is kept in `user_version`, by which an
older program knows that it is too old.
"""

from __future__ import annotations

from daq.sinks.store.database import Database

APPLICATION_ID = 0x42544754
"""What SQLite keeps at byte 68 of the file to tell whose it is: "BTGT"."""


def bring_up_to_date(database: Database) -> None:
    """Makes the steps that are missing, each of them whole or not at all. Raises sqlite3.Error."""
    (made,) = database.execute("PRAGMA user_version").fetchone()
    for number, step in enumerate(STEPS[made:], start=made + 1):
        with database.atomic():
            for statement in step.split(";\n"):
                database.execute(statement)
            database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            database.execute(f"PRAGMA user_version = {number}")


TABLES = """
-- A tester with its sensors, by the name it has in the configuration.
CREATE TABLE bench (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;

-- One run of the daemon, or one replay. ended_utc stays empty if it was killed.
CREATE TABLE boot (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    bench_id INTEGER NOT NULL REFERENCES bench,
    started_utc TEXT NOT NULL,
    ended_utc TEXT,
    software TEXT NOT NULL,
    raw_log TEXT NOT NULL,
    config TEXT NOT NULL CHECK (json_valid(config))
) STRICT;

-- Never changed and never deleted: readings name it. content is the whole record, with its uncertainties.
CREATE TABLE calibration (
    id TEXT PRIMARY KEY NOT NULL,
    stored_utc TEXT NOT NULL,
    origin TEXT NOT NULL,
    date TEXT NOT NULL,
    reference_v REAL,
    supply_zero_v REAL,
    supply_pa_per_v REAL,
    supply_full_scale_pa REAL,
    supply_accuracy_pa REAL,
    cylinder_zero_v REAL,
    cylinder_pa_per_v REAL,
    cylinder_full_scale_pa REAL,
    cylinder_accuracy_pa REAL,
    content TEXT NOT NULL CHECK (json_valid(content))
) STRICT;

-- What answered on the line at the begin of a segment. A bare board has no checksum, sequence or clock.
CREATE TABLE board (
    id INTEGER PRIMARY KEY,
    boot_id INTEGER NOT NULL REFERENCES boot,
    segment INTEGER NOT NULL,
    t_utc TEXT NOT NULL,
    line_format TEXT NOT NULL,
    bits INTEGER NOT NULL,
    reference_mode TEXT NOT NULL,
    rate_hz REAL,
    maker TEXT NOT NULL,
    model TEXT NOT NULL,
    serial TEXT NOT NULL,
    firmware TEXT NOT NULL,
    protocol INTEGER NOT NULL,
    self_test TEXT NOT NULL,
    url TEXT NOT NULL
) STRICT;

-- Every sample, packed; `boretight export samples` unpacks them.
CREATE TABLE sample_block (
    id INTEGER PRIMARY KEY,
    boot_id INTEGER NOT NULL REFERENCES boot,
    segment INTEGER NOT NULL,
    start_utc TEXT NOT NULL,
    start_us INTEGER NOT NULL,
    end_us INTEGER NOT NULL,
    n INTEGER NOT NULL,
    block BLOB NOT NULL
) STRICT;
CREATE INDEX sample_block_order ON sample_block (boot_id, segment, start_us);

-- What the instrument showed, once a second.
CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    boot_id INTEGER NOT NULL REFERENCES boot,
    segment INTEGER NOT NULL,
    t_s REAL NOT NULL,
    t_utc TEXT NOT NULL,
    supply_gauge_pa REAL,
    cylinder_gauge_pa REAL,
    loss_pct REAL,
    loss_at_set_pct REAL,
    leak_area_mm2 REAL,
    flow_g_s REAL,
    supply_held INTEGER NOT NULL,
    stable INTEGER NOT NULL,
    flags INTEGER NOT NULL
) STRICT;
CREATE INDEX reading_time ON reading (t_utc);

-- Everything that happened, whole in detail. body is the message that announces it to the broker; empty if it is
-- not announced. (boot, stream, seq) is the identity of that message.
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    boot_id INTEGER NOT NULL REFERENCES boot,
    segment INTEGER NOT NULL,
    t_s REAL NOT NULL,
    t_utc TEXT NOT NULL,
    kind TEXT NOT NULL,
    cylinder INTEGER,
    detail TEXT NOT NULL CHECK (json_valid(detail)),
    stream TEXT,
    seq INTEGER,
    body TEXT,
    announced_utc TEXT,
    expired_utc TEXT,
    UNIQUE (boot_id, stream, seq)
) STRICT;
CREATE INDEX event_time ON event (t_utc);
CREATE INDEX event_pending ON event (id)
    WHERE body IS NOT NULL AND announced_utc IS NULL AND expired_utc IS NULL;

-- A reading that passed the stability test. u_ are standard uncertainties, expanded_u_ the half-width of the 95 %
-- interval; degrees_of_freedom is empty where there is no end to them. The budget is in the event's detail.
CREATE TABLE stable_reading (
    id INTEGER PRIMARY KEY,
    event_id INTEGER NOT NULL UNIQUE REFERENCES event,
    boot_id INTEGER NOT NULL REFERENCES boot,
    segment INTEGER NOT NULL,
    t_s REAL NOT NULL,
    t_utc TEXT NOT NULL,
    engine TEXT NOT NULL,
    cylinder INTEGER,
    phase TEXT NOT NULL,
    window_s REAL NOT NULL,
    supply_gauge_pa REAL,
    cylinder_gauge_pa REAL,
    loss_pct REAL,
    u_loss_pct REAL,
    loss_at_set_pct REAL,
    reference_loss_pct REAL,
    area_ratio REAL,
    leak_area_mm2 REAL,
    leak_diameter_mm REAL,
    flow_g_s REAL,
    flow_anr_l_min REAL,
    expanded_u_loss_pct REAL,
    coverage_factor REAL,
    degrees_of_freedom REAL,
    noise_pct REAL,
    u_leak_area_mm2 REAL,
    u_flow_g_s REAL,
    u_reference_loss_pct REAL,
    calibration_id TEXT NOT NULL REFERENCES calibration
) STRICT;
CREATE INDEX stable_reading_time ON stable_reading (t_utc);
CREATE INDEX stable_reading_place ON stable_reading (boot_id, segment, t_s);

-- A cylinder of a test, before and after a tap on its valves. Losses are at the set point.
CREATE TABLE cylinder_result (
    id INTEGER PRIMARY KEY,
    event_id INTEGER NOT NULL UNIQUE REFERENCES event,
    boot_id INTEGER NOT NULL REFERENCES boot,
    t_utc TEXT NOT NULL,
    engine TEXT NOT NULL,
    cylinder INTEGER NOT NULL,
    taps INTEGER NOT NULL,
    as_found_loss_at_set_pct REAL,
    as_found_u_loss_pct REAL,
    as_found_reading_id INTEGER REFERENCES stable_reading,
    after_tap_loss_at_set_pct REAL,
    after_tap_u_loss_pct REAL,
    after_tap_reading_id INTEGER REFERENCES stable_reading
) STRICT;
CREATE INDEX cylinder_result_time ON cylinder_result (t_utc)"""

TESTS = """
-- A test of an engine. plan is what it goes by: profile, order, cold or hot, who has acknowledged the cautions.
-- ended_utc stays empty while it is not done; complete: no cylinder is missing, but for those that were skipped.
CREATE TABLE test (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    event_id INTEGER NOT NULL UNIQUE REFERENCES event,
    boot_id INTEGER NOT NULL REFERENCES boot,
    engine TEXT NOT NULL,
    plan TEXT NOT NULL CHECK (json_valid(plan)),
    started_utc TEXT NOT NULL,
    ended_utc TEXT,
    complete INTEGER,
    skipped TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX test_engine ON test (engine, started_utc);

-- Where air was heard or seen to come out while a cylinder was under air.
CREATE TABLE finding (
    id INTEGER PRIMARY KEY,
    event_id INTEGER NOT NULL UNIQUE REFERENCES event,
    test_id INTEGER NOT NULL REFERENCES test,
    t_utc TEXT NOT NULL,
    number INTEGER NOT NULL,
    cylinder INTEGER NOT NULL,
    place TEXT NOT NULL,
    strength TEXT NOT NULL,
    neighbour INTEGER,
    note TEXT NOT NULL,
    withdrawn_utc TEXT
) STRICT;
CREATE INDEX finding_test ON finding (test_id);

-- Every attempt stays: withdrawn_utc says when a reading or a result ceased to count, withdrawn_why for what reason.
ALTER TABLE stable_reading ADD COLUMN test_id INTEGER REFERENCES test;
ALTER TABLE stable_reading ADD COLUMN attempt INTEGER NOT NULL DEFAULT 0;
ALTER TABLE stable_reading ADD COLUMN withdrawn_utc TEXT;
ALTER TABLE cylinder_result ADD COLUMN test_id INTEGER REFERENCES test;
ALTER TABLE cylinder_result ADD COLUMN attempt INTEGER NOT NULL DEFAULT 1;
ALTER TABLE cylinder_result ADD COLUMN withdrawn_utc TEXT;
ALTER TABLE cylinder_result ADD COLUMN withdrawn_why TEXT;
CREATE INDEX stable_reading_test ON stable_reading (test_id, cylinder);
CREATE INDEX cylinder_result_test ON cylinder_result (test_id, cylinder)"""

STEPS = (TABLES, TESTS)
SCHEMA_VERSION = len(STEPS)
