"""How the commands print: a table for a person, JSON lines for a program."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.progress import Progress


def print_json(value: Any) -> None:
    """One JSON document on one line. Ref: RFC 8259 (no NaN, no Infinity)."""
    print(json.dumps(value, allow_nan=False, default=str), flush=True)


def print_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table that reads as well without colour; rich drops the colours where there is no terminal."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD)
    for number, column in enumerate(columns):
        of_numbers = number > 0 and all(row[number][:1] in "+-0123456789" for row in rows)
        table.add_column(column, justify="right" if of_numbers else "left", no_wrap=number == 0)
    for row in rows:
        table.add_row(*row)
    console = Console(markup=False, emoji=False)  # names are what somebody typed
    # A pipe has no width of its own; rows must not be broken there.
    console.width = console.width if console.is_terminal else 160
    console.print(table)


def fall_silent() -> None:
    """Nobody reads any more: what is still to be written, also at the end of the program, goes nowhere.

    Ref: Python library reference, module signal, note on SIGPIPE.
    """
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


@contextmanager
def progress(what: str, total: float | None) -> Iterator[Any]:
    """`advance(done)` or `advance(done, total)` moves a bar on standard error; without a terminal nothing is shown."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(file=sys.stderr)
    bar: Progress
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(what, total=total)
        yield lambda done, total=total: bar.update(task, completed=done, total=total)
