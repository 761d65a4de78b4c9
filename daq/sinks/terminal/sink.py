"""The terminal as a sink: the live face where there is a screen, plain lines where the output is piped."""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, TextIO

import numpy as np

from daq.records import Delivery, LinkChange, Readings, Samples, Session
from daq.sinks.terminal.face import Face, face_lines, shown_pressure, state, visible_loss_pct
from daq.sinks.terminal.sentences import sentence
from daq.units import PressureUnit

if TYPE_CHECKING:
    from rich.live import Live

REDRAW_S = 0.1
PLAIN_EACH_S = 2.0


class TerminalSink:
    """Prints to `out`; `screen` forces the live face on or off, by default it follows the terminal."""

    name = "terminal"

    def __init__(self, bench: str, unit: PressureUnit, out: TextIO | None = None, screen: bool | None = None) -> None:
        self._out = out or sys.stdout
        self._unit = unit
        self._screen = self._out.isatty() if screen is None else screen
        self._face = Face(bench)
        self._live: Live | None = None
        self._drawn_s = 0.0

    async def open(self) -> None:
        if self._screen:
            from rich.console import Console
            from rich.live import Live

            self._live = Live(console=Console(file=self._out, highlight=False), auto_refresh=False)
            self._live.start()

    async def write(self, delivery: Delivery) -> None:
        for record in delivery.records:
            match record:
                case Readings():
                    self._take(record)
                case Samples():
                    pass
                case _:
                    self._follow(record)
                    if text := sentence(record, self._unit):
                        self._print(f"{_clock(delivery.utc_s(record))}  {text}")
        self._redraw()

    async def close(self) -> None:
        if self._live is not None:
            self._live.stop()

    def _take(self, rows: Readings) -> None:
        self._face = replace(
            self._face,
            line_up=True,
            supply_gauge_pa=float(rows.supply_gauge_pa[-1]),
            cylinder_gauge_pa=float(rows.cylinder_gauge_pa[-1]),
            loss_pct=None if np.isnan(rows.loss_pct[-1]) else float(rows.loss_pct[-1]),
            held=bool(rows.supply_held[-1]),
            stable=bool(rows.stable[-1]),
            age_s=0.0,
        )

    def _follow(self, record: object) -> None:
        if isinstance(record, Session):
            self._face = replace(self._face, engine=record.engine, cylinder=record.cylinder, phase=record.phase)
        elif isinstance(record, LinkChange):
            self._face = replace(self._face, line_up=record.up, age_s=0.0)

    def _print(self, text: str) -> None:
        if self._live is not None:
            self._live.console.print(text, markup=False)
        else:
            print(text, file=self._out, flush=True)

    def _redraw(self) -> None:
        now_s = time.monotonic()
        if self._live is not None and now_s - self._drawn_s >= REDRAW_S:
            from rich.text import Text

            lines = face_lines(self._face, self._unit, self._live.console.width)
            self._live.update(Text("\n".join(lines), style="bold"), refresh=True)
            self._drawn_s = now_s
        elif self._live is None and now_s - self._drawn_s >= PLAIN_EACH_S:
            print(" | ".join(line.strip() for line in plain(self._face, self._unit)), file=self._out, flush=True)
            self._drawn_s = now_s


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
