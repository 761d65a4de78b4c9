from __future__ import annotations

import csv
import json
import sqlite3
import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from daq.errors import StorageError, UsageError
from daq.records import Gap, Marked
from daq.report.export import export, parse_since
from daq.report.tables import TABLES
from daq.sinks.store.sample_blocks import COLUMNS
from tests.suites.deliveries import delivery, every_event, readings, samples
from tests.unit.sinks.store_scenes import store, write

MIDNIGHT = datetime(2026, 1, 1, tzinfo=UTC)


@pytest.fixture
def database(tmp_path: Path) -> Path:
    """Two boots: one with all sorts of things in five minutes, one with a gap only."""
    run = [delivery(samples(0, 60_000), readings(0.0, 6000)), delivery(*every_event())]
    write(store(tmp_path, "first"), *run)
    write(store(tmp_path, "second"), delivery(Gap(1, 1.0, 5)))
    return tmp_path / "bench.db"


def read_csv(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def read_jsonl(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


@pytest.mark.parametrize(
    ("table", "count"), [("readings", 301), ("stable", 2), ("events", 26), ("samples", 60_000), ("cylinders", 1)]
)
def test_each_table_says_the_same_in_each_format(database: Path, tmp_path: Path, table: str, count: int) -> None:
    from pyarrow import parquet

    paths = {name: tmp_path / f"out.{name}" for name in ("csv", "jsonl", "parquet")}
    for name, path in paths.items():
        assert export(database, table, name, path).rows == count
    lines = read_jsonl(paths["jsonl"])
    columnar = parquet.read_table(paths["parquet"])
    assert list(lines[0]) == list(read_csv(paths["csv"])[0]) == columnar.column_names == list(TABLES[table].columns)
    as_text = [{k: "" if v is None else str(v) for k, v in row.items() if k != "detail"} for row in lines]
    assert [{k: v for k, v in row.items() if k != "detail"} for row in read_csv(paths["csv"])] == as_text
    plain = [{k: v for k, v in row.items() if k != "detail"} for row in lines]
    assert [{k: v for k, v in row.items() if k != "detail"} for row in columnar.to_pylist()] == plain


def test_samples_are_all_there_with_their_time_of_day(database: Path, tmp_path: Path) -> None:
    export(database, "samples", "csv", tmp_path / "out.csv")
    found = read_csv(tmp_path / "out.csv")
    whole = samples(0, 60_000)
    for name in COLUMNS:
        assert [int(row[name]) for row in found] == getattr(whole, name).tolist()
    assert found[12_345]["t_utc"] == "2026-01-01T00:01:01.725000Z"


def test_what_has_no_meaning_is_empty_and_details_are_objects(database: Path, tmp_path: Path) -> None:
    export(database, "readings", "jsonl", tmp_path / "out.jsonl")
    export(database, "readings", "csv", tmp_path / "out.csv")
    assert read_jsonl(tmp_path / "out.jsonl")[0]["loss_pct"] is None
    assert read_csv(tmp_path / "out.csv")[0]["loss_pct"] == ""
    export(database, "events", "jsonl", tmp_path / "out.jsonl")
    gap = read_jsonl(tmp_path / "out.jsonl")[-1]
    assert (gap["boot"], gap["bench"], gap["kind"]) == ("second", "bench-one", "gap")
    assert gap["detail"] == {"segment": 1, "t_s": 1.0, "missing": 5}


@pytest.mark.parametrize(
    ("table", "after_s", "count"),
    [
        ("readings", 100, 201),
        ("samples", 100, 40_000),
        ("samples", 59.9999, 48_000),
        ("samples", 1e6, 0),
        ("events", 14, 12),
    ],
)
def test_since_is_exact(database: Path, tmp_path: Path, table: str, after_s: float, count: int) -> None:
    since = (MIDNIGHT + timedelta(seconds=after_s)).astimezone(timezone(timedelta(hours=5)))
    assert export(database, table, "csv", tmp_path / "out.csv", since=since).rows == count
    assert len(read_csv(tmp_path / "out.csv")) == count


def test_one_boot_may_be_chosen(database: Path, tmp_path: Path) -> None:
    assert export(database, "events", "csv", tmp_path / "out.csv", boot="second").rows == 1
    assert export(database, "samples", "csv", tmp_path / "out.csv", boot="second").rows == 0


@pytest.mark.parametrize("format", ["csv", "jsonl", "parquet"])
def test_no_rows_make_a_file_all_the_same(database: Path, tmp_path: Path, format: str) -> None:
    out = tmp_path / "out"
    assert export(database, "stable", format, out, boot="none").rows == 0
    assert out.exists()
    assert (out.stat().st_size == 0) == (format == "jsonl")


def test_standard_output_is_the_default(database: Path, capsys: pytest.CaptureFixture[str]) -> None:
    export(database, "cylinders")
    header, line = capsys.readouterr().out.splitlines()
    assert header.startswith("bench,boot,t_utc,engine,cylinder,taps,as_found_loss_at_set_pct")
    assert line.startswith("bench-one,first,2026-01-01T00:00:20.000000Z,test-four,2,1,12.4")


def test_progress_reaches_its_end_in_steps(database: Path, tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    export(database, "samples", "csv", tmp_path / "out.csv", progress=lambda done, total: told.append((done, total)))
    assert told == [(12_000 * step, 60_000) for step in range(6)]


def test_a_damaged_block_is_told_and_the_others_are_written(database: Path, tmp_path: Path) -> None:
    connection = sqlite3.connect(database)
    connection.execute("UPDATE sample_block SET block = x'00' WHERE id = 3")
    connection.commit()
    connection.close()
    done = export(database, "samples", "csv", tmp_path / "out.csv")
    assert done.rows == 48_000
    assert len(done.complaints) == 1
    assert "block 3 of first" in done.complaints[0]


@pytest.mark.parametrize(
    ("table", "format", "said"),
    [
        ("reading", "csv", r"no table 'reading'.\n.*one of readings, stable, events, samples, cylinders"),
        ("readings", "xlsx", r"no format 'xlsx'.\n.*one of csv, jsonl, parquet"),
        ("readings", "parquet", "cannot be written to standard output"),
    ],
)
def test_a_choice_that_there_is_not_is_told_with_those_there_are(
    database: Path, table: str, format: str, said: str
) -> None:
    with pytest.raises(UsageError, match=said):
        export(database, table, format)


def test_without_pyarrow_it_says_what_to_install(
    database: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UsageError, match=r"needs the library pyarrow.*\n.*boretight\[parquet\]"):
        export(database, "readings", "parquet", tmp_path / "out.parquet")
    assert not list(tmp_path.glob("out*"))


def test_a_file_that_cannot_be_written_is_told_and_leaves_nothing(database: Path, tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="Cannot write the export"):
        export(database, "readings", "csv", tmp_path / "none" / "out.csv")


def test_an_export_that_is_interrupted_leaves_the_old_file(database: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    out.write_text("old")

    def interrupt(done: int, total: int) -> None:
        if done:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        export(database, "samples", "csv", out, progress=interrupt)
    assert (out.read_text(), list(tmp_path.glob("*.part"))) == ("old", [])


def test_there_is_no_database(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="There is no database"):
        export(tmp_path / "none.db", "readings")


def test_text_of_all_sorts_survives_in_csv(tmp_path: Path) -> None:
    said = 'oil cap "off", then\non again; größer'
    write(store(tmp_path), delivery(Marked(1, 1.0, "note", said, "operator")))
    export(tmp_path / "bench.db", "events", "csv", tmp_path / "out.csv")
    (row,) = read_csv(tmp_path / "out.csv")
    assert json.loads(row["detail"])["text"] == said


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("2026-01-31", datetime(2026, 1, 31, tzinfo=UTC)),
        ("2026-01-31T14:30+01:00", datetime(2026, 1, 31, 13, 30, tzinfo=UTC)),
        ("2026-01-31 14:30:00Z", datetime(2026, 1, 31, 14, 30, tzinfo=UTC)),
    ],
)
def test_a_time_is_read_as_iso_8601_and_as_utc(text: str, time: datetime) -> None:
    assert parse_since(text) == time


def test_what_is_no_time_is_told() -> None:
    with pytest.raises(UsageError, match="'yesterday' is no time"):
        parse_since("yesterday")
