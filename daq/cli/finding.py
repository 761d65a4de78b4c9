"""`boretight finding ...`: what was heard or seen, added to a stored test afterwards."""

from __future__ import annotations

import platform
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from daq.cli.output import print_json, print_table
from daq.config import load
from daq.errors import StorageError, UsageError
from daq.procedure.finding import words_of
from daq.report.test_record import TestRecord, load_test
from daq.sinks.event_json import plain
from daq.sinks.store import readable
from daq.sinks.store.connection import database_errors, open_for_writing
from daq.sinks.store.database import Database
from daq.sinks.store.late_findings import add_finding, withdraw_finding
from daq.sinks.store.lock import DatabaseLock


def add(test: str, text: str, database: Path | None, config_path: Path | None, as_json: bool) -> None:
    """`text` as `daq.procedure.finding` reads it, with the cylinder. UsageError while the test is still running."""
    source, words = database or load(config_path).storage.database, words_of(text)
    with _writing(source, test) as (writer, record):
        finding = add_finding(writer, record.id, words, time.time())
    if as_json:
        print_json({"test": record.name, **plain(finding)})
    else:
        print(f"Added to test {record.name} as finding {finding.number}. `boretight report {record.name}` counts it.")


def take_back(test: str, number: int, database: Path | None, config_path: Path | None, as_json: bool) -> None:
    """UsageError while the test is still running, or if there is no such finding."""
    source = database or load(config_path).storage.database
    with _writing(source, test) as (writer, record):
        withdrawn = withdraw_finding(writer, record.id, number, time.time())
    if as_json:
        print_json({"test": record.name, **plain(withdrawn)})
    else:
        print(f"Finding {number} of test {record.name} does not count any more; it stays listed.")


@contextmanager
def _writing(source: Path, test: str) -> Iterator[tuple[Database, TestRecord]]:
    """The database to write to and the test, which no bench is in the middle of."""
    with readable(source) as reader:
        record = load_test(reader, test, source)
    with ExitStack() as stack:
        if record.ended_utc is None:
            stack.enter_context(_not_running(record, source))
        writer = open_for_writing(source)
        stack.callback(writer.close)
        stack.enter_context(database_errors(source, "write to"))
        yield writer, record


def _not_running(record: TestRecord, source: Path) -> DatabaseLock:
    """A bench in the middle of a test numbers its own findings."""
    try:
        return DatabaseLock(source, f"boretight finding on {platform.node()}")
    except StorageError as error:
        raise UsageError(
            f"Test {record.name} has not been ended, and a bench is running.",
            "Tell the bench itself: `boretight mark heard exhaust clear`.",
            error.evidence,
        ) from error


def list_findings(test: str, database: Path | None, config_path: Path | None, as_json: bool) -> None:
    from daq.report.engine.leak_sections import finding_text

    source = database or load(config_path).storage.database
    with readable(source) as reader:
        record = load_test(reader, test, source)
    if as_json:
        rows = [
            {**plain(each.finding), "utc": each.utc, "counts": each.withdrawn_utc is None} for each in record.findings
        ]
        print_json({"test": record.name, "findings": rows})
        return
    lines = [[str(each.finding.number), finding_text(each, record)] for each in record.findings]
    print_table(f"Findings of test {record.name}", ["", "finding"], lines)
