"""A page without a network: its sink, its application, and what a browser would send."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Any

from daq.errors import UsageError
from daq.procedure.verdict import COMMON_PRACTICE
from daq.records import Delivery, Instrument, Mark
from daq.sinks.page.app import Bench, app
from daq.sinks.page.documents import Books, Document
from daq.sinks.page.hub import Hub
from daq.sinks.page.settings import PageSettings
from daq.sinks.page.sink import PageBench, PageSink
from daq.sinks.payloads import BenchDescription, StatusFields
from daq.units import PressureUnit
from tests.suites.deliveries import CALIBRATION, PLAN, UTC_OFFSET_S

TOKEN = "a-token-of-this-bench-1"
INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, 551.6e3, 13.8e3)
DESCRIPTION = BenchDescription(INSTRUMENT, CALIBRATION, PressureUnit.PSI, "boretight test")
NASTY = "<script>alert(1)</script>"


def page_of(path: str) -> Document | None:
    match path:
        case "tests":
            return Document("Tests", f"<p>{NASTY.replace('<', '&lt;')}</p>")
        case "whole":
            return Document("Whole", "<!DOCTYPE html><style>p { color: red; }</style><p>x</p>", whole=True)
        case "broken":
            raise RuntimeError("the secret inside")
        case "gone":
            raise UsageError("No such test.", "`boretight test list` names them.", "/home/somebody")
    return None


BOOKS = Books(page_of, lambda: {"engines": []})


@dataclass
class Clock:
    now_s: float = 0.0

    def __call__(self) -> float:
        return self.now_s


def sink(
    on_mark: Callable[[Mark], str] = lambda mark: "",
    clock: Clock | None = None,
    lan: bool = False,
    on_served: Callable[[int], None] = lambda port: None,
    **bench: Any,
) -> PageSink:
    """Served at a free port once it is opened."""
    clock = clock or Clock()
    return PageSink(
        PageSettings("garage", TOKEN, lan, 0),
        PageBench(DESCRIPTION, "boot-1", PLAN, COMMON_PRACTICE, BOOKS, **bench),
        StatusFields,
        on_mark,
        on_served,
        utc_s=lambda: UTC_OFFSET_S + clock(),
        mono_s=clock,
    )


def application(lan: bool = False, on_mark: Callable[[Mark], str] = lambda mark: "") -> Any:
    bench = Bench(lambda may: json.dumps({"may_steer": may}), lambda: "[[],[],[],[]]", sink(on_mark).command)
    return app(PageSettings("garage", TOKEN, lan), Hub("boot-1"), bench, BOOKS)


def messages(data: bytes) -> list[tuple[str, str, Any]]:
    """(name, id, content) of each server-sent event."""
    found = []
    for block in data.decode().split("\n\n"):
        lines = dict(line.split(": ", 1) for line in block.splitlines() if ": " in line)
        if "event" in lines:
            found.append((lines["event"], lines.get("id", ""), json.loads(lines["data"])))
    return found


async def next_part(parts: AsyncIterator[bytes]) -> list[tuple[str, str, Any]]:
    async with asyncio.timeout(10):
        return messages(await anext(parts))


def newest(found: list[tuple[str, str, Any]], name: str) -> Any:
    return [content for each, _, content in found if each == name][-1]


def hub_of(page: PageSink) -> Hub:
    return page._hub


async def told(page: PageSink, *deliveries: Delivery) -> list[tuple[str, str, Any]]:
    """What a page that is opened after these deliveries is told at first."""
    for delivery in deliveries:
        await page.write(delivery)
    return await next_part(hub_of(page).follow())
