"""Stored data for other programs, a batch at a time, so that a season fits through a small machine."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from daq.errors import DataError, UsageError
from daq.report.formats import FORMATS, TEXT_FORMATS, Columns, ParquetWriter, RowWriter
from daq.report.tables import TABLES, Choice
from daq.sinks.disk import storage_errors
from daq.sinks.store import readable


@dataclass(frozen=True, slots=True)
class Exported:
    """How many rows were written, and what could not be read."""

    rows: int
    complaints: tuple[str, ...] = ()


def export(
    database: Path,
    table: str,
    format: str = "csv",
    out: Path | None = None,
    *,
    since: datetime | None = None,
    boot: str | None = None,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Exported:
    """Write a table (see TABLES) in a format (see FORMATS) to a file, or to standard output.

    `since`: only rows from then on. `progress` is told rows done and rows in all. Units stand in the names of the
    columns, times are UTC. The file appears under its name when it is complete. UsageError for a choice that there
    is not, StorageError if a disk refuses.
    """
    chosen = TABLES[_one_of(TABLES, table, "table")]
    _one_of(FORMATS, format, "format")
    choice = Choice(boot, since.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ") if since else None)
    damaged: list[DataError] = []
    rows = 0
    with readable(database) as source, _writer(format, out, chosen.columns) as writer:
        total = chosen.count(source, choice)
        progress(0, total)
        for batch in chosen.batches(source, choice, damaged.append):
            writer.write(batch)
            rows += len(batch)
            progress(rows, total)
    return Exported(rows, tuple(map(str, damaged)))


def parse_since(text: str) -> datetime:
    """A day or a time as in ISO 8601; without an offset it is UTC, like all times in the database."""
    try:
        since = datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"{text!r} is no time.", "Write it like 2026-01-31 or 2026-01-31T14:30+01:00.") from error
    return since if since.tzinfo else since.replace(tzinfo=UTC)


@contextmanager
def _writer(format: str, out: Path | None, columns: Columns) -> Iterator[RowWriter]:
    if out is None:
        if format not in TEXT_FORMATS:
            raise UsageError(f"{format} cannot be written to standard output.", "Name a file with --out.")
        with TEXT_FORMATS[format](sys.stdout, columns) as writer:
            yield writer
        sys.stdout.flush()
        return
    partial = out.with_name(f"{out.name}.part")
    with storage_errors(out, "write the export"):
        try:
            with _to_file(format, partial, columns) as writer:
                yield writer
            partial.replace(out)
        finally:
            partial.unlink(missing_ok=True)


@contextmanager
def _to_file(format: str, path: Path, columns: Columns) -> Iterator[RowWriter]:
    if format in TEXT_FORMATS:
        with path.open("w", encoding="utf-8", newline="") as file, TEXT_FORMATS[format](file, columns) as writer:
            yield writer
    else:
        with ParquetWriter(path, columns) as writer:
            yield writer


def _one_of(choices: Iterable[str], chosen: str, what: str) -> str:
    if chosen not in choices:
        raise UsageError(f"There is no {what} {chosen!r}.", f"Choose one of {', '.join(choices)}.")
    return chosen
