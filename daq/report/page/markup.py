"""Markup of the pages of stored things. Text becomes markup here and nowhere else, and is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from urllib.parse import quote


@dataclass(frozen=True, slots=True)
class Link:
    """`path` in parts, each as it is; they are quoted here."""

    text: str
    path: tuple[str, ...]


Cell = str | Link
Row = Sequence[Cell | Sequence[Cell]]


def table(words: str, columns: Sequence[str], rows: Iterable[Row]) -> str:
    """The first cell of each row names it. `words` say what the table is to those who do not see it."""
    head = "".join(f'<th scope="col">{escape(column)}</th>' for column in columns)
    body = "".join(_row(row) for row in rows)
    return (
        f'<div class="wide" tabindex="0" role="group" aria-label="{escape(words)}"><table>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _row(row: Row) -> str:
    first, *rest = row
    cells = "".join(f"<td>{cell(each)}</td>" for each in rest)
    return f'<tr><th scope="row">{cell(first)}</th>{cells}</tr>'


def cell(value: Cell | Sequence[Cell]) -> str:
    if isinstance(value, str):
        return escape(value)
    if isinstance(value, Link):
        return f'<a href="/{"/".join(quote(part, safe="") for part in value.path)}">{escape(value.text)}</a>'
    return ", ".join(cell(each) for each in value)


def paragraph(*texts: Cell) -> str:
    return f"<p>{' '.join(cell(text) for text in texts)}</p>"
