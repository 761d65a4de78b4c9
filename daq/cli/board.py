"""`boretight board check`: is this board what the specification says?"""

from __future__ import annotations

import sys
from dataclasses import asdict

from daq.cli.output import print_json, print_table
from daq.sources.conformance import check_board
from daq.sources.conformance_report import ConformanceReport
from daq.sources.ports import open_port

FAILS = 1


def check(url: str, baud: int, seconds: float, as_json: bool) -> None:
    """Exit code 0 if nothing that was checked fails, 1 if something does."""
    port = open_port(url, baud)
    try:
        if not as_json:
            print(f"Checking the board on {url}; this takes about {seconds + 10:.0f} s.", flush=True)
        report = check_board(port, seconds, None if url.startswith(("socket:", "/dev/pts/")) else baud)
    finally:
        port.close()
    _show(report, as_json)
    sys.exit(0 if report.conforms else FAILS)


def _show(report: ConformanceReport, as_json: bool) -> None:
    if as_json:
        findings = [asdict(finding) for finding in report.findings]
        print_json({"identity": report.identity, "conforms": report.conforms, "findings": findings})
        return
    rows = [[f.requirement, f.title, f.verdict.value.upper(), f.evidence] for f in report.findings]
    print_table(
        f"Board: {report.identity or 'did not tell its identity'}", ["", "requirement", "verdict", "seen"], rows
    )
    print("The board conforms in all that was checked." if report.conforms else "The board does not conform.")
