"""What the tests of the check share: a check of a board in memory, and the register of boards that break a rule."""

from __future__ import annotations

from collections.abc import Callable

from daq.sources.conformance import Verdict, check_board
from daq.sources.conformance_report import ConformanceReport
from tests.unit.wire.fake_board import FakeBoard


def report_of(
    board: FakeBoard, baud: int | None = FakeBoard.baud, ask: Callable[[str], None] | None = None
) -> ConformanceReport:
    return check_board(board, seconds=6.0, baud=baud, clock=board.clock, ask=ask)


def verdicts(report: ConformanceReport, verdict: Verdict) -> dict[str, str]:
    return {found.requirement: found.evidence for found in report.findings if found.verdict is verdict}


class Absolute(FakeBoard):
    converter = "16,ABS"


BREAKERS: list[tuple[str, Callable[[], FakeBoard]]] = []


def breaks(requirement: str) -> Callable[[type[FakeBoard]], type[FakeBoard]]:
    def register(board: type[FakeBoard]) -> type[FakeBoard]:
        BREAKERS.append((requirement, board))
        return board

    return register
