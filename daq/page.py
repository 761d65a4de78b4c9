"""The page of a bench, put together: where it is served, what it shows of stored things, and the link to it."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from daq.config import Config
from daq.procedure import TestPlan
from daq.procedure.verdict import COMMON_PRACTICE
from daq.records import Event, Mark
from daq.report.page import books
from daq.sinks.disk import storage_errors
from daq.sinks.page.settings import PageSettings, kept_token, link
from daq.sinks.page.sink import PageBench, PageSink
from daq.sinks.payloads import BenchDescription, StatusFields


@dataclass(frozen=True, slots=True)
class Daemon:
    """What the page asks of the daemon that serves it; `on_page` is told the link."""

    boot: str
    plan: TestPlan
    past: Sequence[Event]
    status: Callable[[], StatusFields]
    take: Callable[[Mark], str]
    broker: Callable[[], str]
    on_page: Callable[[str], None]


def page_sink(config: Config, description: BenchDescription, daemon: Daemon) -> PageSink:
    """Raises StorageError if the token of the page cannot be kept."""
    settings = PageSettings(config.bench, kept_token(config.storage.page_token), config.page.lan, config.page.port)
    bench = PageBench(
        description, daemon.boot, daemon.plan, COMMON_PRACTICE.carried(description.instrument, description.calibration),
        books(config, description), daemon.past, daemon.broker,
    )  # fmt: skip

    def served(port: int) -> None:
        daemon.on_page(keep_link(config, link(settings, port)))

    return PageSink(settings, bench, daemon.status, daemon.take, served)


def keep_link(config: Config, found: str) -> str:
    """Leaves the link where `boretight page` finds it, whole or not at all; only the user can read it, for the token is
    in it."""
    path = config.storage.page_link
    draft = path.with_name(f".{path.name}.new")
    with storage_errors(path, "leave the link to the page"):
        draft.unlink(missing_ok=True)
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
            file.write(f"{found}\n")
        draft.replace(path)
    return found
