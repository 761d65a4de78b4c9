"""What enters at the top, and is kept in the raw log."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from daq.records.bench import Board
from daq.records.events import Event


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes as they came from the line; any split of the same bytes means the same."""

    arrived_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Mark:
    """Something the operator did: `kind` is one of `MarkKind`, or a word of a later tool."""

    at_s: float
    kind: str
    text: str = ""


class MarkKind(StrEnum):
    """What an operator may say; firmware, foot switch, command line and MQTT all end here.

    `start` brings the plan of a test (see daq/procedure/plan.py), `heard` a place where air was heard or seen, `rocked`
    whether rocking the crank changed a cylinder's loss.
    """

    START = "start"
    ACKNOWLEDGE = "acknowledge"
    NEXT = "next"
    AGAIN = "again"
    SKIP = "skip"
    UNDO = "undo"
    CYLINDER = "cylinder"
    HEARD = "heard"
    ROCKED = "rocked"
    PAUSE = "pause"
    GO_ON = "go-on"
    FINISH = "finish"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class LinkUp:
    """A board has been opened and has answered; a new segment begins."""

    at_s: float
    board: Board


@dataclass(frozen=True, slots=True)
class LinkDown:
    """The line was lost or closed; the segment ends."""

    at_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Resume:
    """A run that was broken off in the middle of a test is gone on with: what had happened in that test so far.

    `events` are those that the procedure follows; before the start of the test, what air and supply were then.
    """

    at_s: float
    events: tuple[Event, ...]


Input = Chunk | Mark | LinkUp | LinkDown | Resume
