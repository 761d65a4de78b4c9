"""`boretight report` and `boretight test show`: a stored test as page, PDF, picture, figures, or in the terminal."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from daq.cli.output import print_json, print_table
from daq.config import Config, load
from daq.errors import UsageError
from daq.report.engine.judged import Judged, judged
from daq.report.test_record import load_test
from daq.sinks.disk import storage_errors
from daq.sinks.store import readable
from daq.sinks.store.database import Database
from daq.units import PressureUnit

if TYPE_CHECKING:
    from daq.report.engine.document import Document

STANDARD_OUTPUT = Path("-")


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which files are asked for; none of them: a page next to the database."""

    html: Path | None = None
    pdf: Path | None = None
    png: Path | None = None
    csv: Path | None = None
    json: Path | None = None

    def __bool__(self) -> bool:
        return any((self.html, self.pdf, self.png, self.csv, self.json))


@dataclass(frozen=True, slots=True)
class Asked:
    """What all commands about a stored test are told."""

    test: str
    database: Path | None = None
    units: str | None = None
    limits: str = "common"
    config: Path | None = None


def report(asked: Asked, wanted: Wanted, paper: str) -> None:
    """Prints where each file was written."""
    config = load(asked.config)
    unit, source = unit_of(asked.units, config), asked.database or config.storage.database
    paper = _paper(paper)
    with readable(source) as database:
        test = judged(load_test(database, asked.test, source), asked.limits)
        wanted = wanted or Wanted(html=source.with_name(f"{file_name(test.record.name)}.html"))
        for path, made in _made(wanted, test, database, unit, paper):
            _write(path, made())


def _made(
    wanted: Wanted, test: Judged, database: Database, unit: PressureUnit, paper: str
) -> Iterator[tuple[Path, Callable[[], bytes]]]:
    """Each file with what makes it; the heavier modules are imported for those alone that need them."""
    if wanted.html or wanted.pdf:
        document = _document(test, database, unit)
        if wanted.html:
            from daq.report.engine.html import html

            yield wanted.html, lambda: html(document).encode()
        if wanted.pdf:
            from daq.report.engine.pdf import pdf

            yield wanted.pdf, lambda: pdf(document, paper)
    if wanted.png:
        from daq.report.engine.page import chart, headline
        from daq.report.engine.pdf import png

        yield wanted.png, lambda: png(chart(test), *headline(test))
    if wanted.csv or wanted.json:
        yield from _figures(wanted, test)


def _figures(wanted: Wanted, test: Judged) -> Iterator[tuple[Path, Callable[[], bytes]]]:
    import json

    from daq.report.engine.figures import as_csv, as_json

    if wanted.csv:
        yield wanted.csv, lambda: as_csv(test).encode()
    if wanted.json:
        yield wanted.json, lambda: (json.dumps(as_json(test), ensure_ascii=False, allow_nan=False) + "\n").encode()


def _document(test: Judged, database: Database, unit: PressureUnit) -> Document:
    from daq.report.engine.page import document
    from daq.report.traces import traces

    return document(test, traces(database, test.record), unit)


def _write(path: Path, content: bytes) -> None:
    if path == STANDARD_OUTPUT:
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
        return
    with storage_errors(path, "write the report"):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    print(path)


def file_name(test: str) -> str:
    """The name of a test as that of a file, on any system."""
    return re.sub(r"[^\w.-]+", "-", test).strip("-.") or "test"


def unit_of(wanted: str | None, config: Config) -> PressureUnit:
    """By its name, whichever way it is written; UsageError names those that there are."""
    if wanted is None:
        return config.display.pressure
    for unit in PressureUnit:
        if unit.value.lower() == wanted.lower():
            return unit
    raise UsageError(f"There is no unit {wanted!r}.", f"Use one of {', '.join(unit.value for unit in PressureUnit)}.")


def _paper(wanted: str) -> str:
    from daq.report.engine.pdf import PAPERS

    if wanted not in PAPERS:
        raise UsageError(f"There is no paper {wanted!r}.", f"Use one of {', '.join(PAPERS)}.")
    return wanted


# ---- in the terminal


def show(asked: Asked, as_json: bool) -> None:
    """A row a cylinder, then what to do; the same figures as the report."""
    source = asked.database or load(asked.config).storage.database
    with readable(source) as database:
        test = judged(load_test(database, asked.test, source), asked.limits)
    if as_json:
        from daq.report.engine.figures import as_json as figures

        print_json(figures(test))
        return
    _show(test)


def _show(test: Judged) -> None:
    from daq.report.engine.leak_sections import finding_text
    from daq.report.engine.page import advice, cylinders_table

    table, record = cylinders_table(test), test.record
    title = f"{record.profile.name}, test {record.name}, {record.started_utc:%Y-%m-%d %H:%M} UTC"
    print_table(title, table.columns, [[cell.text for cell in row] for row in table.rows])
    said = advice(test)
    print(f"{said.word}. {said.sentence}", *said.below, *(test.judgement.notes if test.judgement else ()), sep="\n")
    for finding in record.findings:
        print(finding_text(finding, record))
