"""Which page is made by what. Each brings its modules when it is asked for: a daemon that nobody asks stays small."""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock
from typing import Any

from daq.config import Config
from daq.sinks.page.documents import Books, Document
from daq.sinks.payloads import BenchDescription

PDF = "/report.pdf"
Page = Callable[[str, Config, BenchDescription], Document | None]


def books(config: Config, bench: BenchDescription) -> Books:
    """One page is made at a time: the daemon that serves them has something else to do as well."""
    lock = Lock()

    def page(path: str) -> Document | None:
        place, _, rest = path.partition("/")
        with lock:
            return PAGES[place](rest, config, bench) if place in PAGES else None

    def choices() -> dict[str, Any]:
        from daq.report.page.engines import choices

        return choices(config)

    return Books(page, choices)


def _tests(test: str, config: Config, bench: BenchDescription) -> Document:
    from daq.report.page.tests import report_page, tests_page

    database = config.storage.database
    return (
        report_page(database, test.removesuffix(PDF), bench.unit, test.endswith(PDF)) if test else tests_page(database)
    )


def _history(engine: str, config: Config, bench: BenchDescription) -> Document | None:
    from daq.report.page.history import history_page

    return history_page(config.storage.database, engine, bench.instrument) if engine else None


def _engines(rest: str, config: Config, bench: BenchDescription) -> Document | None:
    from daq.report.page.engines import engines_page

    return None if rest else engines_page(config.storage.engines, config.storage.database)


def _calibration(rest: str, config: Config, bench: BenchDescription) -> Document | None:
    from daq.report.page.calibrations import calibration_page, certificate_page

    if rest == "certificate":
        return certificate_page(config.storage.calibrations, config.bench, bench)
    return None if rest else calibration_page(config.storage.calibrations, bench.calibration)


PAGES: dict[str, Page] = {"tests": _tests, "history": _history, "engines": _engines, "calibration": _calibration}
