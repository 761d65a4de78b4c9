"""The tests that are stored, the newest first, and the report of each: the same as `boretight report` makes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from daq.report.engine.judged import judged
from daq.report.page.markup import Link, paragraph, table
from daq.report.test_list import state_of, stored_tests
from daq.report.test_record import load_test
from daq.sinks.page.documents import Document
from daq.sinks.store import readable
from daq.units import PressureUnit

if TYPE_CHECKING:
    pass

MOST = 200


def tests_page(path: Path) -> Document:
    with readable(path) as database:
        rows = [_line(row) for row in stored_tests(database, MOST)]
    if not rows:
        return Document("Tests", paragraph("No test is stored yet."))
    columns = ("Test", "Engine", "Started (UTC)", "State", "Cylinders", "Engine was", "Report")
    return Document("Tests", table("Tests, the newest first", columns, rows))


def _line(row: dict[str, Any]) -> tuple[str | Link | tuple[Link, ...], ...]:
    name, engine = row["name"], row["engine"]
    state = state_of(row)
    report = (Link("page", ("tests", name)), Link("PDF", ("tests", name, "report.pdf")))
    started = row["started_utc"][:16].replace("T", " ")
    heat = row["heat"] or "unknown"
    return name, Link(engine, ("history", engine)), started, state, str(row["cylinders"]), heat, report


def report_page(path: Path, test: str, unit: PressureUnit, as_pdf: bool) -> Document:
    """UsageError for a test that there is not. The heavy modules are imported for who asks for them."""
    from daq.report.engine.html import html
    from daq.report.engine.page import document
    from daq.report.traces import traces

    with readable(path) as database:
        record = load_test(database, test, path)
        made = document(judged(record), traces(database, record), unit)
    if as_pdf:
        from daq.report.engine.pdf import pdf

        return Document(test, data=pdf(made), media_type="application/pdf")
    return Document(test, html(made), whole=True)
