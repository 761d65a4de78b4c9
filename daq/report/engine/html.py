"""The report as one HTML file: no script, nothing from a network, for a screen, a phone and paper.

Every text is escaped here and nowhere else; what is not is SVG of our own (`drawing`), which escapes its own texts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape as _escape
from importlib.resources import files

from daq.report.engine.document import (
    Advice,
    Block,
    Cell,
    Chart,
    Document,
    Facts,
    Gallery,
    Items,
    Paragraph,
    Section,
    Signatures,
    Table,
    unbroken,
)
from daq.report.engine.drawing import scale, seal

_SAFE = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""What a browser may load: nothing."""


def escape(text: str) -> str:
    return _escape(unbroken(text))


def html(document: Document) -> str:
    style = files("daq.report.engine").joinpath("report.css").read_text(encoding="utf-8")
    title = escape(f"{document.kind}: {document.title}")
    sections = "\n".join(_section(section) for section in document.sections)
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_SAFE}">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>\n{style}</style></head>\n'
        f"<body><main>\n{_head(document)}\n{sections}\n<footer>{escape(document.foot)}</footer>\n"
        "</main></body></html>\n"
    )


def _head(document: Document) -> str:
    facts = "".join(f"<div><dt>{escape(word)}</dt><dd>{escape(said)}</dd></div>" for word, said in document.head)
    return (
        f'<header><p class="kind">{escape(document.kind)}</p><h1>{escape(document.title)}</h1>'
        f'<p class="subtitle">{escape(document.subtitle)}</p><div class="scale">{scale()}</div>'
        f'<dl class="head">{facts}</dl></header>'
    )


def _section(section: Section) -> str:
    title = f"<h2>{escape(section.title)}</h2>\n" if section.title else ""
    together = ' class="together"' if section.together else ""
    return f"<section{together}>{title}" + "\n".join(_block(block) for block in section.blocks) + "</section>"


def _block(block: Block) -> str:  # noqa: C901 - one line for each kind of block
    match block:
        case Paragraph():
            return f'<p class="{block.tone.value}">{escape(block.text)}</p>'
        case Items():
            return f'<ul class="{block.tone.value}">{_each("li", block.texts)}</ul>'
        case Facts():
            pairs = (f"<dt>{escape(word)}</dt><dd>{escape(said)}</dd>" for word, said in block.pairs)
            return f'<dl class="facts">{"".join(pairs)}</dl>'
        case Table():
            return _table(block)
        case Chart():
            return _chart(block)
        case Gallery():
            return f'<div class="gallery">{"".join(_chart(chart) for chart in block.charts)}</div>'
        case Advice():
            return _advice(block)
        case Signatures():
            return f'<div class="signatures">{_each("p", block.words)}</div>'


def _each(tag: str, texts: Iterable[str]) -> str:
    return "".join(f"<{tag}>{escape(text)}</{tag}>" for text in texts)


def _table(table: Table) -> str:
    numbers = [table.of_numbers(column) for column in range(len(table.columns))]
    head = "".join(
        f'<th scope="col"{_right(number)}>{escape(name)}</th>'
        for name, number in zip(table.columns, numbers, strict=True)
    )
    rows = "\n".join(_row(row, numbers) for row in table.rows)
    return f'<div class="scroll"><table><thead><tr>{head}</tr></thead><tbody>\n{rows}\n</tbody></table></div>'


def _row(row: Sequence[Cell], numbers: Sequence[bool]) -> str:
    first, *rest = row
    cells = (f"<td{_right(number)}>{_cell(cell)}</td>" for cell, number in zip(rest, numbers[1:], strict=True))
    return f'<tr><th scope="row">{_cell(first)}</th>{"".join(cells)}</tr>'


def _right(number: bool) -> str:
    return ' class="n"' if number else ""


def _cell(cell: Cell) -> str:
    seen = f'<span class="seal">{seal(cell.mark, 14)}</span>' if cell.mark else ""
    return f"{seen}{escape(cell.text)}"


def _chart(chart: Chart) -> str:
    """Both widths are in the file; which is shown, the style decides by the width of the page."""
    if not chart.narrow:
        return f"<figure>{chart.svg}</figure>"
    return f'<figure class="wide">{chart.svg}</figure><figure class="narrow">{chart.narrow}</figure>'


def _advice(advice: Advice) -> str:
    word = f'<p class="word"><span class="seal">{seal(advice.mark, 26)}</span>{escape(advice.word)}</p>'
    return (
        f'<div class="advice {advice.mark.value}">{word}<p class="sentence">{escape(advice.sentence)}</p>'
        f'<div class="below">{_each("p", advice.below)}</div></div>'
    )
