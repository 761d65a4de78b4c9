"""The terminal as a sink: the live face where there is a screen, plain lines where the output is piped."""

from __future__ import annotations

import asyncio
import contextlib
import math
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, TextIO

import numpy as np

from daq.records import (
    AirChange,
    AirState,
    Delivery,
    Expectation,
    LinkChange,
    Readings,
    Samples,
    Session,
    StableReading,
    Tap,
)
from daq.sinks.terminal.face import Face, face_lines, shown_pressure, state, visible_loss_pct
from daq.sinks.terminal.sentences import sentence
from daq.units import PressureUnit

if TYPE_CHECKING:
    from rich.live import Live

REDRAW_S = 0.1
LOOK_EACH_S = 0.5
PLAIN_EACH_S = 2.0


class TerminalSink:
    """Prints to `out`; `screen` forces the live face on or off, by default it follows the terminal.

    Each `look_each_s` it looks how old the newest readings are, so that a silent board shows as stale.
    """

    name = "terminal"

    def __init__(
        self,
        bench: str,
        unit: PressureUnit,
        out: TextIO | None = None,
        screen: bool | None = None,
        *,
        look_each_s: float = LOOK_EACH_S,
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._out = out or sys.stdout
        self._unit = unit
        self._screen = self._out.isatty() if screen is None else screen
        self._face = Face(bench)
        self._live: Live | None = None
        self._look_each_s, self._mono_s = look_each_s, mono_s
        self._heard_s = self._drawn_s = -math.inf
        self._said = ""
        self._looking: asyncio.Task[None] | None = None

    async def open(self) -> None:
        if self._screen:
            from rich.console import Console
            from rich.live import Live

            self._live = Live(console=Console(file=self._out, highlight=False), auto_refresh=False)
            self._live.start()
        self._looking = asyncio.create_task(self._look())

    async def write(self, delivery: Delivery) -> None:
        for record in delivery.records:
            match record:
                case Readings():
                    self._take(record)
                case Samples():
                    pass
                case Expectation():
                    expected = (record.loss_pct, record.low_pct, record.high_pct)
                    self._face = replace(self._face, expected_pct=expected)
                case _:
                    self._follow(record)
                    if text := sentence(record, self._unit):
                        self._print(f"{_clock(delivery.utc_s(record))}  {text}")
        self._redraw()

    async def close(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
            await asyncio.gather(self._looking, return_exceptions=True)
        if self._live is not None:
            self._live.stop()

    async def _look(self) -> None:
        """What cannot be printed here is told by the next `write`."""
        while True:
            await asyncio.sleep(self._look_each_s)
            with contextlib.suppress(OSError):
                self._redraw()

    def _take(self, rows: Readings) -> None:
        self._heard_s = self._mono_s()
        self._face = replace(
            self._face,
            line_up=True,
            supply_gauge_pa=float(rows.supply_gauge_pa[-1]),
            cylinder_gauge_pa=float(rows.cylinder_gauge_pa[-1]),
            loss_pct=None if np.isnan(rows.loss_pct[-1]) else float(rows.loss_pct[-1]),
            held=bool(rows.supply_held[-1]),
            stable=bool(rows.stable[-1]),
        )

    def _follow(self, record: object) -> None:
        if isinstance(record, Session):
            self._face = self._face.at(record)
        elif isinstance(record, LinkChange):
            self._face = replace(self._face, line_up=record.up)
        elif isinstance(record, AirChange):
            self._face = replace(self._face, expected_pct=None, air_on=record.state is AirState.ON)
        elif isinstance(record, StableReading | Tap):
            self._face = replace(self._face, expected_pct=None)

    def _print(self, text: str) -> None:
        if self._live is not None:
            self._live.console.print(text, markup=False)
        else:
            print(text, file=self._out, flush=True)

    def _redraw(self) -> None:
        now_s = self._mono_s()
        if now_s - self._drawn_s < (PLAIN_EACH_S if self._live is None else REDRAW_S):
            return
        self._drawn_s = now_s
        face = replace(self._face, age_s=now_s - self._heard_s)
        if self._live is None:
            self._say_plainly(face)
        else:
            self._draw(self._live, face)

    def _draw(self, live: Live, face: Face) -> None:
        from rich.text import Text

        lines = face_lines(face, self._unit, live.console.width)
        live.update(Text("\n".join(lines), style="bold"), refresh=True)

    def _say_plainly(self, face: Face) -> None:
        """That all is stale is said once, not for as long as a board is away."""
        line = " | ".join(part.strip() for part in plain(face, self._unit))
        if state(face) != "STALE" or line != self._said:
            self._said = line
            print(line, file=self._out, flush=True)


def plain(face: Face, unit: PressureUnit) -> list[str]:
    """The face as the parts of one line, for a pipe or a log."""
    loss_pct = visible_loss_pct(face)
    return [
        f"CYLINDER {face.cylinder or '-'}",
        f"SUPPLY {shown_pressure(face.supply_gauge_pa, unit)} {'HELD' if face.held else 'NOT HELD'}",
        f"CYLINDER SIDE {shown_pressure(face.cylinder_gauge_pa, unit)}",
        "LOSS -.- %" if loss_pct is None else f"LOSS {loss_pct:.1f} %",
        state(face),
    ]


def _clock(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).astimezone().strftime("%H:%M:%S")
