"""Events of the line and of what stands at its end: the board, and the hand on its button."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from daq.records.bench import Board


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples that the board counted and the host did not get."""

    segment: int
    t_s: float
    missing: int


@dataclass(frozen=True, slots=True)
class BadLines:
    """Rejected lines since the last tick: how many for each reason, and the first of them as evidence."""

    segment: int
    t_s: float
    counts: Mapping[str, int]
    evidence: bytes


@dataclass(frozen=True, slots=True)
class Restarted:
    """The board announced a boot, or its clock went back; `segment` is the new one."""

    segment: int
    t_s: float
    cause: str
    boot_count: int | None


@dataclass(frozen=True, slots=True)
class LinkChange:
    """The line is up (with the board that answered) or down (with the reason)."""

    segment: int
    t_s: float
    up: bool
    reason: str
    board: Board | None


@dataclass(frozen=True, slots=True)
class Marked:
    """A mark of the operator at its place in the stream; `source` is `operator` or `board`."""

    segment: int
    t_s: float
    kind: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class BoardFault:
    """The board said something is wrong: a flag of its samples came up, or a command was refused."""

    segment: int
    t_s: float
    fault: str
    detail: str
