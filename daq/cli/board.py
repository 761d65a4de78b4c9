"""`boretight board check`: is this board what the specification says?"""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path

from daq.cli.output import print_json, print_table
from daq.daemon.bench import software
from daq.errors import ProtocolError, UsageError
from daq.report.board_check import WRITERS, Made, as_data, conclusion
from daq.sinks.disk import storage_errors
from daq.sources.conformance import check_board
from daq.sources.conformance_report import ConformanceReport
from daq.sources.ports import open_port

QUICK_S = 6.0
ABOUT_TALK_S = 17.0
"""What the check takes beside watching the samples."""
WITHOUT_A_LINE = ("socket:", "loop:", "/dev/pts/")
"""Ports whose bit rate means nothing."""


def check(url: str, baud: int, seconds: float, as_json: bool, report_file: Path | None, alone: bool) -> None:
    """Exit code 0 if nothing that was checked fails, that of ProtocolError if something does."""
    if report_file is not None and report_file.suffix not in (*WRITERS, ".json"):
        what = f"A report is written as HTML, text or JSON, by the end of its name; {report_file.name} has another."
        raise UsageError(what, "Name a file that ends in .html, .txt or .json.")
    port = open_port(url, baud)
    hand = None if alone or as_json or not sys.stdin.isatty() else _ask
    made = Made(url, baud, seconds, software(), datetime.now(UTC))
    try:
        if not as_json:
            print(f"Checking the board on {url}; this takes about {seconds + ABOUT_TALK_S:.0f} s.", flush=True)
        report = check_board(port, seconds, None if url.startswith(WITHOUT_A_LINE) else baud, ask=hand)
    finally:
        port.close()
    if report_file is not None:
        _write(report_file, report, made)
    _show(report, made, as_json)
    sys.exit(0 if report.conforms else ProtocolError.exit_code)


def _ask(words: str) -> None:
    print(f">> {words}", flush=True)


def _write(path: Path, report: ConformanceReport, made: Made) -> None:
    writer = WRITERS.get(path.suffix)
    text = json.dumps(as_data(report, made), indent=2) + "\n" if writer is None else writer(report, made)
    with storage_errors(path, "write the report"):
        path.write_text(text, encoding="utf-8")


def _show(report: ConformanceReport, made: Made, as_json: bool) -> None:
    if as_json:
        print_json(as_data(report, made))
        return
    rows = [[f.requirement, f.title, f.verdict.value.upper(), f.evidence] for f in report.findings]
    print_table(
        f"Board: {report.identity or 'did not tell its identity'}", ["", "requirement", "verdict", "seen"], rows
    )
    print_table("Measured", ["", ""], [[figure.what, figure.value] for figure in report.figures])
    print(conclusion(report))
