"""The state table of a test: every phase, what moves it, and what is done then. The deeds are in `procedure.py`."""

from __future__ import annotations

from enum import StrEnum

from daq.records import MarkKind


class Phase(StrEnum):
    """Where the work on one cylinder stands; the value is the public word."""

    CAUTIONS = "cautions"
    WAIT_AIR = "wait-air"
    PRESSURISE = "pressurise"
    SETTLE = "settle"
    AS_FOUND = "as-found"
    RESETTLE = "resettle"
    AFTER_TAP = "after-tap"
    CRANK_MOVED = "crank-moved"
    PAUSED = "paused"
    DONE = "done"


class Trigger(StrEnum):
    """What moves a test on: eight things that the pressures tell, then what the operator may say."""

    AIR_ON = "air-on"
    AIR_ON_LOW = "air-on-low"
    SUPPLY_HELD = "supply-held"
    AIR_OFF = "air-off"
    STABLE = "stable"
    TAP = "tap"
    CRANK_MOVED = "crank-moved"
    CRANK_BACK = "crank-back"
    START = "start"
    ACKNOWLEDGE = "acknowledge"
    NEXT = "next"
    SKIP = "skip"
    AGAIN = "again"
    UNDO = "undo"
    CYLINDER = "cylinder"
    HEARD = "heard"
    ROCKED = "rocked"
    PAUSE = "pause"
    GO_ON = "go-on"
    FINISH = "finish"


P, T = Phase, Trigger
BEFORE_CAPTURE = (P.PRESSURISE, P.SETTLE)
CAPTURED = (P.AS_FOUND, P.RESETTLE, P.AFTER_TAP)
AWAITS_READING = (*BEFORE_CAPTURE, P.RESETTLE)
UNDER_AIR = (*BEFORE_CAPTURE, *CAPTURED, P.CRANK_MOVED)
AT_WORK = (P.WAIT_AIR, *UNDER_AIR)
OPEN = (P.CAUTIONS, *AT_WORK, P.PAUSED)

# (phase, trigger) -> (next phase, what is done). What is not listed changes nothing.
# "finish", "advance", "skip" and "end" move to the next cylinder, or to DONE; "go_on" to where the pause began.
TABLE: dict[tuple[Phase, Trigger], tuple[Phase, str]] = {
    **{(phase, T.START): (P.CAUTIONS, "start") for phase in P},
    (P.CAUTIONS, T.ACKNOWLEDGE): (P.WAIT_AIR, "acknowledge"),
    (P.WAIT_AIR, T.ACKNOWLEDGE): (P.WAIT_AIR, "acknowledge"),
    # the pressures drive it
    (P.WAIT_AIR, T.AIR_ON): (P.SETTLE, "begin"),
    (P.WAIT_AIR, T.AIR_ON_LOW): (P.PRESSURISE, "begin"),
    (P.PRESSURISE, T.SUPPLY_HELD): (P.SETTLE, "go"),
    (P.PRESSURISE, T.STABLE): (P.AS_FOUND, "capture"),
    (P.SETTLE, T.STABLE): (P.AS_FOUND, "capture"),
    **{(phase, T.AIR_OFF): (P.WAIT_AIR, "lose_air") for phase in BEFORE_CAPTURE},
    (P.AS_FOUND, T.STABLE): (P.AS_FOUND, "compare"),
    (P.AS_FOUND, T.TAP): (P.RESETTLE, "count_tap"),
    (P.RESETTLE, T.TAP): (P.RESETTLE, "count_tap"),
    (P.AFTER_TAP, T.TAP): (P.RESETTLE, "count_tap"),
    (P.RESETTLE, T.STABLE): (P.AFTER_TAP, "capture_after"),
    (P.AFTER_TAP, T.STABLE): (P.AFTER_TAP, "capture_after"),
    **{(phase, T.AIR_OFF): (P.WAIT_AIR, "finish") for phase in CAPTURED},
    # a crank that moved makes what follows worthless: the cylinder is done again
    **{(phase, T.CRANK_MOVED): (P.CRANK_MOVED, "go") for phase in CAPTURED},
    (P.CRANK_MOVED, T.CRANK_BACK): (P.CRANK_MOVED, "resume_capture"),
    (P.CRANK_MOVED, T.AIR_OFF): (P.WAIT_AIR, "discard"),
    # the operator steers it
    (P.WAIT_AIR, T.NEXT): (P.WAIT_AIR, "advance"),
    **{(phase, T.NEXT): (P.WAIT_AIR, "advance") for phase in BEFORE_CAPTURE},
    **{(phase, T.NEXT): (P.WAIT_AIR, "finish") for phase in (*CAPTURED, P.CRANK_MOVED)},
    **{(phase, T.SKIP): (P.WAIT_AIR, "skip") for phase in AT_WORK},
    (P.WAIT_AIR, T.AGAIN): (P.WAIT_AIR, "take_back"),
    (P.DONE, T.AGAIN): (P.WAIT_AIR, "take_back"),
    **{(phase, T.AGAIN): (P.SETTLE, "begin_again") for phase in UNDER_AIR},
    (P.WAIT_AIR, T.UNDO): (P.WAIT_AIR, "undo"),
    (P.DONE, T.UNDO): (P.DONE, "undo"),
    **{(phase, T.UNDO): (phase, "undo_finding") for phase in UNDER_AIR},
    **{(phase, T.CYLINDER): (phase, "rename") for phase in AT_WORK},
    (P.DONE, T.CYLINDER): (P.WAIT_AIR, "rename"),
    **{(phase, T.HEARD): (phase, "note_finding") for phase in P},
    **{(phase, T.ROCKED): (phase, "go") for phase in (*AT_WORK, P.PAUSED)},
    **{(phase, T.PAUSE): (P.PAUSED, "pause") for phase in AT_WORK},
    (P.PAUSED, T.GO_ON): (P.PAUSED, "go_on"),
    **{(phase, T.FINISH): (P.DONE, "end") for phase in OPEN},
}

STEERED_BY: dict[str, Trigger] = {
    MarkKind.START: T.START,
    MarkKind.ACKNOWLEDGE: T.ACKNOWLEDGE,
    MarkKind.NEXT: T.NEXT,
    MarkKind.SKIP: T.SKIP,
    MarkKind.AGAIN: T.AGAIN,
    MarkKind.UNDO: T.UNDO,
    MarkKind.CYLINDER: T.CYLINDER,
    MarkKind.HEARD: T.HEARD,
    MarkKind.ROCKED: T.ROCKED,
    MarkKind.PAUSE: T.PAUSE,
    MarkKind.GO_ON: T.GO_ON,
    MarkKind.FINISH: T.FINISH,
}

_STANDS = {
    P.CAUTIONS: "the cautions have not been acknowledged",
    P.WAIT_AIR: "the test waits for air",
    P.PRESSURISE: "the pressure is being raised",
    P.SETTLE: "the reading settles",
    P.AS_FOUND: "the cylinder has been captured as found",
    P.RESETTLE: "the reading settles after a tap",
    P.AFTER_TAP: "the cylinder has been captured after taps",
    P.CRANK_MOVED: "the crank has moved: vent the air first",
    P.PAUSED: "the test is paused",
    P.DONE: "the test is done",
}


_CANNOT_UNDO = "no result, skip or finding of this test is left to be taken back"
_CANNOT_UNDO_UNDER_AIR = (
    "under air only a finding can be taken back, if it was noted last; a capture is repeated by `again`"
)


def meaningless(phase: str, kind: str, can_undo: bool = True) -> str:
    """Why a mark of this kind would change nothing while a test stands at `phase`; empty if it would, or if it never
    steers. `can_undo` is that of the session."""
    trigger = STEERED_BY.get(kind)
    if trigger is None or phase not in list(Phase):
        return ""
    why = _STANDS[Phase(phase)] if (Phase(phase), trigger) not in TABLE else ""
    if not why and trigger is T.UNDO and not can_undo:
        why = _CANNOT_UNDO_UNDER_AIR if phase in UNDER_AIR else _CANNOT_UNDO
    return f"`{kind}` means nothing now: {why}." if why else ""


def meaningful(phase: str, can_undo: bool = True) -> list[str]:
    """What an operator may say while a test stands at `phase`."""
    return [kind for kind in MarkKind if not meaningless(phase, kind, can_undo)]
