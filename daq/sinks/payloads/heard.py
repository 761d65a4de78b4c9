"""From a message back to the event that it tells of, so that whoever listens says the same words as the daemon. Pure.

Messages come from anybody who may write to the broker: what does not fit is no event.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from daq.records import (
    AirChange,
    AirState,
    BadLines,
    Board,
    BoardFault,
    Cue,
    CylinderDone,
    CylinderJudged,
    Event,
    Expectation,
    Fault,
    Finding,
    Gap,
    Judged,
    LineFormat,
    LinkChange,
    Marked,
    Restarted,
    Session,
    SoftStep,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TapEffect,
    TestDone,
    TestStarted,
    Withdrawn,
    ZeroCheck,
)

MOST_CYLINDERS = 64
Message = Mapping[str, Any]

_KINDS: dict[str, tuple[type[Any], dict[str, Any]]] = {
    "tap": (Tap, {}),
    "tap-effect": (TapEffect, {}),
    "expectation": (Expectation, {}),
    "zero-check": (ZeroCheck, {}),
    "fault": (Fault, {"over": False}),
    "fault-over": (Fault, {"over": True}),
    "supply-held": (SupplyChange, {"state": SupplyState.HELD}),
    "supply-lost": (SupplyChange, {"state": SupplyState.LOST}),
    "air-on": (AirChange, {"state": AirState.ON}),
    "air-off": (AirChange, {"state": AirState.OFF}),
    "gap": (Gap, {}),
    "bad-lines": (BadLines, {}),
    "board-restarted": (Restarted, {}),
    "link-up": (LinkChange, {"up": True}),
    "link-down": (LinkChange, {"up": False, "board": None}),
    "mark": (Marked, {}),
    "board-fault": (BoardFault, {}),
    "soft-step": (SoftStep, {}),
    "test-started": (TestStarted, {"plan": ""}),
    "finding": (Finding, {}),
    "withdrawn": (Withdrawn, {}),
    "cue": (Cue, {"values": {}}),
    "cylinder-done": (CylinderDone, {}),
    "test-done": (TestDone, {}),
}


def event_of(name: str, message: Message) -> Event | None:
    """The event of a message on the topic `event`, `reading`, `last/<cylinder>`, `verdict/<cylinder>` or `session`;
    None if it is none.

    What a message does not carry is NaN or empty: the budget of a reading, the plan of a test, what a board measures
    with, all of a cylinder that is done but its losses.
    """
    found: Event | None = None
    with contextlib.suppress(LookupError, TypeError, ValueError, OverflowError, ValidationError):
        found = _event(name.partition("/")[0], message)
    return found


def _event(topic: str, message: Message) -> Any:
    if topic in ("reading", "last"):
        return _made(StableReading, message, {})
    if topic == "session":
        lists = {"done": None, "skipped": None, "order": "-"}
        return _made(Session, message, {each: numbers(message.get(each), sign) for each, sign in lists.items()})
    if topic == "verdict":
        return _made(CylinderJudged, message, {each: _judged(message, each) for each in ("as_found", "after_tap")})
    if topic != "event":
        return None
    record, constant = _KINDS[message["kind"]]
    return _made(record, message, constant | _MORE.get(message["kind"], _nothing)(message))


def numbers(text: Any, between: str | None = None) -> tuple[int, ...]:
    """Numbers of cylinders as the messages list them. Raises ValueError if they are none, or too many."""
    found = tuple(int(word) for word in str(text or "").split(between) if word)
    if len(found) > MOST_CYLINDERS or any(not 0 < number < 1000 for number in found):
        raise ValueError("no list of cylinders")
    return found


# ---- what is named otherwise in a message than in its record


def _nothing(message: Message) -> dict[str, Any]:
    return {}


def _counts(message: Message) -> dict[str, Any]:
    pairs = (word.split("=") for word in str(message["reasons"]).split())
    return {"counts": {reason: int(number) for reason, number in pairs}, "evidence": b""}


def _board(message: Message) -> dict[str, Any]:
    return {"board": Board(LineFormat.FRAMED, bits=0, maker=str(message["board"]))}


def _losses(message: Message) -> dict[str, Any]:
    as_found, after = (_loss(message, each) for each in ("as_found", "after_tap"))
    return {"as_found": as_found, "after_tap": after if math.isfinite(after.loss_at_set_pct) else None}


def _loss(message: Message, which: str) -> StableReading:
    loss = {"loss_at_set_pct": message[f"{which}_loss_pct"], "u_loss_pct": message[f"{which}_u_loss_pct"]}
    made: StableReading = _made(StableReading, message, {**loss, "calibration_id": ""})
    return made


def _judged(message: Message, which: str) -> Any:
    told = {each.name: message[f"{which}_{each.name}"] for each in fields(Judged)}
    return None if told["verdict"] is None else _made(Judged, message, told)


def _cylinders(message: Message) -> dict[str, Any]:
    count = int(message["cylinders"])
    if not 0 <= count <= MOST_CYLINDERS:
        raise ValueError("no number of cylinders")
    nameless = CylinderDone(0, 0.0, 0, _loss({"mono_s": 0.0, "segment": 0, **_NO_LOSS}, "as_found"), None, 0)
    return {"cylinders": (nameless,) * count, "skipped": numbers(message.get("skipped"))}


_NO_LOSS = {"as_found_loss_pct": None, "as_found_u_loss_pct": None}
_MORE: dict[str, Callable[[Message], dict[str, Any]]] = {
    "bad-lines": _counts,
    "link-up": _board,
    "mark": lambda message: {"kind": message["mark"]},
    "cylinder-done": _losses,
    "test-done": _cylinders,
}


def _made(record: Any, message: Message, more: Message) -> Any:
    given = {**message, "t_s": message["mono_s"], **more}
    values = {each.name: _value(each, given.get(each.name)) for each in fields(record) if _is_told(each, given)}
    return _adapter(record).validate_python(values)


def _is_told(field: Field[Any], given: Message) -> bool:
    """A number that is null and has a default has it; one that is not told at all is not known."""
    if given.get(field.name) is None and field.type == "float":
        return field.default is MISSING
    return field.name in given


def _value(field: Field[Any], value: Any) -> Any:
    return math.nan if value is None and field.type == "float" else value


@cache
def _adapter(record: Any) -> TypeAdapter[Any]:
    return TypeAdapter(record)
