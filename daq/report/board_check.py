"""The report of a check of a board against the specification, to hand over: a page, plain text, or data.

It stands by itself and says how it was got, what was not checked, and what would let it be.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from html import escape
from typing import Any

from daq.sources.conformance_report import ConformanceReport, Finding, Verdict
from daq.wire import PROTOCOL_VERSION

STYLE = """\
body { font: 11pt/1.45 system-ui, sans-serif; max-width: 52rem; margin: 1.5rem auto; padding: 0 1rem; color: #111;
  background: #fff; }
h1 { font-size: 1.4rem; margin: 0 0 .3rem; } h2 { font-size: 1.1rem; margin: 1.3rem 0 .3rem; } p { margin: .3rem 0; }
table { border-collapse: collapse; font-size: .85rem; width: 100%; }
th, td { padding: .2rem .7rem .2rem 0; text-align: left; vertical-align: top; border-bottom: 1px solid #ddd; }
td:last-child { overflow-wrap: anywhere; } .fails { font-weight: 700; color: #a40000; } .word { white-space: nowrap; }
tr { break-inside: avoid; } @page { margin: 14mm; } @media print { body { margin: 0; max-width: none; } }"""
HOW = (
    "A program spoke to the board over its serial line as a host does, gave it every command of the specification and "
    "the wrong ones too, and judged each line that came. It does not see what happens at the board's inputs: that the "
    "counts are those of the voltages is not part of this. The checklist at the end of the specification says what "
    "takes a hand."
)
WIDTH = 100


@dataclass(frozen=True, slots=True)
class Made:
    """How a check was made: the port, its bit rate, how long samples were watched, by what, and when (UTC)."""

    url: str
    baud: int
    seconds: float
    software: str
    utc: datetime

    def sentence(self) -> str:
        return (
            f"Checked on {self.utc:%Y-%m-%d %H:%M} UTC on {self.url} at {self.baud} bit/s; samples were watched for "
            f"{self.seconds:g} s. By {self.software}, against protocol version {PROTOCOL_VERSION}."
        )


def conclusion(report: ConformanceReport) -> str:
    """One sentence, with how many requirements it rests on."""
    count = Counter(finding.verdict for finding in report.findings)
    seen = f"{count[Verdict.CONFORMS]} requirements kept, {count[Verdict.FAILS]} broken"
    left = f", {count[Verdict.NOT_CHECKED]} not checked" if count[Verdict.NOT_CHECKED] else ""
    said = "The board conforms in all that was checked" if report.conforms else "The board does not conform"
    return f"{said}: {seen}{left}."


def as_data(report: ConformanceReport, made: Made | None = None) -> dict[str, Any]:
    """For a program: what `--json` prints, and what a file named .json holds."""
    how = {} if made is None else {**asdict(made), "utc": made.utc.isoformat(), "protocol": PROTOCOL_VERSION}
    return {
        "identity": report.identity,
        "conforms": report.conforms,
        "findings": [asdict(finding) for finding in report.findings],
        "figures": {figure.what: figure.value for figure in report.figures},
        **how,
    }


def as_text(report: ConformanceReport, made: Made) -> str:
    """Plain text that a mail or a printer takes."""
    lines = [f"Board: {_identity(report)}", "", *_wrapped(conclusion(report)), "", *_wrapped(made.sentence()), ""]
    for finding in report.findings:
        lines.append(f"{finding.requirement:4} {finding.verdict.value.upper():12} {finding.title}")
        lines += textwrap.wrap(finding.evidence, WIDTH, initial_indent=" " * 18, subsequent_indent=" " * 18)
    lines += ["", "Measured", *(f"  {figure.what}: {figure.value}" for figure in report.figures), "", *_wrapped(HOW)]
    return "\n".join(lines) + "\n"


def as_page(report: ConformanceReport, made: Made) -> str:
    """A whole HTML document; it needs nothing beside itself, and prints well."""
    title = f"Conformance of {escape(_identity(report))}"
    figures = [[escape(figure.what), escape(figure.value)] for figure in report.figures]
    body = "\n".join(
        [
            f"<h1>{title}</h1>",
            f"<p><strong>{escape(conclusion(report))}</strong></p>",
            f"<p>{escape(made.sentence())}</p>",
            "<h2>Requirement by requirement</h2>",
            _table(["", "Requirement", "Verdict", "Seen"], [_row(finding) for finding in report.findings]),
            "<h2>Measured</h2>",
            _table(["What", "Value"], figures),
            f"<h2>How this was got</h2>\n<p>{escape(HOW)}</p>",
        ]
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>\n'
        f'<meta name="viewport" content="width=device-width"><style>\n{STYLE}\n</style></head>\n'
        f"<body><main>\n{body}\n</main></body></html>\n"
    )


def _identity(report: ConformanceReport) -> str:
    return report.identity or "a board that did not tell its identity"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)


def _row(finding: Finding) -> list[str]:
    word = "fails" if finding.verdict is Verdict.FAILS else "word"
    verdict = f'<span class="word {word}">{finding.verdict.value}</span>'
    return [finding.requirement, escape(finding.title), verdict, escape(finding.evidence)]


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Cells are markup."""
    head = "".join(f'<th scope="col">{column}</th>' for column in columns)
    body = "\n".join(f'<tr><th scope="row">{row[0]}</th>{_cells(row[1:])}</tr>' for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>\n{body}\n</tbody></table>"


def _cells(cells: Sequence[str]) -> str:
    return "".join(f"<td>{cell}</td>" for cell in cells)


Writer = Callable[[ConformanceReport, Made], str]
WRITERS: dict[str, Writer] = {".html": as_page, ".txt": as_text}
"""By the end of the file's name; `.json` is written by `as_data`."""
