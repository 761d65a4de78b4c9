"""How the benches look: a panel each where there is a screen, plain lines in a pipe or a log."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from daq.cli.watch_run import View
from daq.cli.watch_sheet import row_words
from daq.cli.watch_wall import Line
from daq.sinks.terminal.face import face_lines
from daq.sinks.terminal.sink import plain
from daq.units import PressureUnit

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.live import Live

REDRAW_S = 0.2
PLAIN_EACH_S = 2.0
FRAME = 4
"""Columns of a panel that are not its content."""

COLUMNS = ("cylinder", "as found", "after taps", "verdict", "")


def told(line: Line) -> str:
    """One line of text: when, which bench, what."""
    clock = line.at.strftime("%H:%M:%S") if line.at else "        "
    return f"{clock}  {line.bench}  {line.text}"


def against_set_point(view: View, unit: PressureUnit) -> str:
    """The supply in words: `held at 100.0 psi`, `0.4 psi below 100.0 psi`."""
    set_pa, supply_pa = view.run.describe.set_point_pa, view.face.supply_gauge_pa
    if set_pa is None:
        return "Set point not known"
    if supply_pa is None or view.state in ("STALE", "OFFLINE"):
        return f"Set point {unit.show(set_pa)}"
    if view.face.held:
        return f"Supply held at {unit.show(set_pa)}"
    return (
        f"Supply {unit.show(abs(supply_pa - set_pa))} {'below' if supply_pa < set_pa else 'above'} {unit.show(set_pa)}"
    )


def words(view: View, unit: PressureUnit, width: int) -> list[str]:
    """The upper part of a panel: large digits, state, what is wanted; the same in words whatever the colours."""
    _, *face, _ = face_lines(view.face, unit, width)
    if not view.online:
        face = [line.replace("STALE", "OFFLINE") for line in face]
    lines = [*face, f" {view.captured} | {against_set_point(view, unit)}", f" >> {view.wanted}"]
    lines += [f" LOOK: {fault.fault}. {fault.seen} {fault.todo}".rstrip() for fault in view.run.faults.values()]
    return [*lines, f" Cue: {view.run.cue}"] if view.run.cue else lines


class Screen:
    """Draws the benches in place, and tells above them what happened."""

    each_s = REDRAW_S

    def __init__(self, unit: PressureUnit, console: Console | None = None) -> None:
        from rich.console import Console
        from rich.live import Live

        self._unit = unit
        self._live: Live = Live(console=console or Console(highlight=False), auto_refresh=False)
        self._live.start()

    def tell(self, lines: Iterable[Line]) -> None:
        for line in lines:
            self._live.console.print(told(line), markup=False, highlight=False)

    def draw(self, views: list[View]) -> None:
        from rich.text import Text

        shown = self._fitting(views) if views else Text("Waiting for a bench...")
        self._live.update(shown, refresh=True)

    def close(self) -> None:
        self._live.stop()

    def _fitting(self, views: list[View]) -> RenderableType:
        """As much of each bench as there is room for: all, without the cylinders, or one line."""
        from rich.console import Group

        console = self._live.console
        ways: tuple[Callable[[View], RenderableType], ...] = (self._whole, self._short)
        for way in ways:
            shown = Group(*map(way, views))
            if len(console.render_lines(shown, pad=False)) < console.height:
                return shown
        return Group(*(self._line(view) for view in views[: console.height - 1]))

    def _whole(self, view: View) -> RenderableType:
        from rich.console import Group
        from rich.table import Table
        from rich.text import Text

        table = Table(*COLUMNS, box=None, padding=(0, 2, 0, 1), header_style="")
        for row in view.run.sheet.rows():
            table.add_row(*(Text(word) for word in row_words(row)))
        parts = [self._face(view), *([table] if table.row_count else []), Text(f" {view.health}")]
        return self._panel(view, Group(*parts))

    def _short(self, view: View) -> RenderableType:
        return self._panel(view, self._face(view))

    def _line(self, view: View) -> RenderableType:
        from rich.text import Text

        return Text(plain_line(view, self._unit), overflow="ellipsis", no_wrap=True)

    def _face(self, view: View) -> RenderableType:
        from rich.text import Text

        return Text("\n".join(words(view, self._unit, self._live.console.width - FRAME)), style="bold")

    def _panel(self, view: View, content: RenderableType) -> RenderableType:
        from rich.panel import Panel
        from rich.text import Text

        engine = f" | {view.face.engine}" if view.face.engine else ""
        title = f"{view.title}{engine} | {'online' if view.online else 'OFFLINE'}"
        return Panel(content, title=Text(title), title_align="left", padding=(0, 1))


class Plain:
    """One line for each event, and now and then one for each bench: no control characters, nothing drawn over."""

    each_s = PLAIN_EACH_S

    def __init__(self, unit: PressureUnit) -> None:
        self._unit = unit
        self._said: dict[str, str] = {}

    def tell(self, lines: Iterable[Line]) -> None:
        for line in lines:
            print(told(line), flush=True)

    def draw(self, views: list[View]) -> None:
        """That a bench is stale or offline is said once, not for as long as it is so."""
        for view in views:
            line = plain_line(view, self._unit)
            if view.state not in ("STALE", "OFFLINE") or self._said.get(view.title) != line:
                print(line, flush=True)
            self._said[view.title] = line

    def close(self) -> None:
        pass


def plain_line(view: View, unit: PressureUnit) -> str:
    """The face of a bench as one line."""
    *parts, _ = plain(view.face, unit)
    return " | ".join([view.title, *parts, view.state, view.wanted])
