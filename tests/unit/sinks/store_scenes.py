"""Making and looking into databases, for the tests of the store."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from typing import Any

from daq.records import Delivery, Event, Session, StableReading
from daq.sinks.store.boot import Boot
from daq.sinks.store.store import Store
from daq.units import PressureUnit
from tests.suites.deliveries import CALIBRATION, UTC_OFFSET_S

NOW_S = UTC_OFFSET_S + 3600.0


class PlainMessages:
    """Stands in for the real messages: `boot/seq kind`."""

    def stream_of(self, event: Event) -> str | None:
        if isinstance(event, Session):
            return None
        return "reading" if isinstance(event, StableReading) else "event"

    def event_body(
        self, event: Event, *, bench: str, boot: str, seq: int, utc_s: float, unit: PressureUnit
    ) -> tuple[str, str] | None:
        stream = self.stream_of(event)
        return None if stream is None else (stream, f"{bench}/{boot}/{seq} {type(event).__name__} {event.t_s}")


def store(folder: Path, boot: str = "boot-1", **options: Any) -> Store:
    settings: dict[str, Any] = {"calibrations": [CALIBRATION], "renderer": PlainMessages(), "now": lambda: NOW_S}
    return Store(folder / "bench.db", Boot("bench-one", boot, "0.1.0", "x.btlog", {"rate": 200}), **settings | options)


def write(made: Store, *deliveries: Delivery) -> Store:
    """Open, write, close; the store, for a look at its outbox."""

    async def scene() -> None:
        await made.open()
        try:
            for each in deliveries:
                await made.write(each)
        finally:
            await made.close()

    asyncio.run(scene())
    return made


def within(made: Store, scene: Callable[[], Awaitable[Any]]) -> Any:
    """Run the scene while the store is open."""

    async def whole() -> Any:
        await made.open()
        try:
            return await scene()
        finally:
            await made.close()

    return asyncio.run(whole())


def rows(folder: Path, sql: str, parameters: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
    connection = sqlite3.connect(folder / "bench.db")
    try:
        return connection.execute(sql, parameters).fetchall()
    finally:
        connection.close()


def table(folder: Path, name: str) -> list[dict[str, Any]]:
    connection = sqlite3.connect(folder / "bench.db")
    connection.row_factory = sqlite3.Row
    try:
        return [dict(row) for row in connection.execute(f"SELECT * FROM {name} ORDER BY rowid")]
    finally:
        connection.close()


def change(folder: Path, sql: str) -> None:
    with sqlite3.connect(folder / "bench.db") as database:
        database.execute(sql)
    database.close()
