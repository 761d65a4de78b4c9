"""Events as JSON and, for those that a procedure follows, back again: so a test can be gone on with. Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import StrEnum
from functools import cache
from typing import Any, get_type_hints

import numpy as np

from daq.records import (
    AirChange,
    Contribution,
    Event,
    Fault,
    Marked,
    StableReading,
    SupplyChange,
    Tap,
    TestStarted,
)

FOLLOWED: tuple[type[Any], ...] = (TestStarted, Marked, AirChange, SupplyChange, StableReading, Tap, Fault)
"""What moves a test on."""


def kind_of(event: Event | type[Any]) -> str:
    """`stable_reading`, `supply_change` and so on."""
    name = event.__name__ if isinstance(event, type) else type(event).__name__
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()


FOLLOWED_KINDS = {kind_of(each): each for each in FOLLOWED}


def plain(value: Any) -> Any:
    """What JSON and SQLite can say; what is not finite becomes None.

    Bytes of a line that are no text show as `\\xff`, halves of characters as `?`.
    """
    if is_dataclass(value):
        return {each.name: plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, bytes):
        return value.decode("ascii", "backslashreplace")
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode()
    if isinstance(value, np.generic):
        value = value.item()
    return finite(value) if isinstance(value, float) else value


def finite(value: Any) -> float | None:
    number = float(value)
    return number if math.isfinite(number) else None


def event_from(kind: str, detail: Mapping[str, Any]) -> Any:
    """The event that `plain` made `detail` of. LookupError, TypeError or ValueError if it is none that is followed."""
    record, hints = FOLLOWED_KINDS[kind], _hints(kind)
    known = [each for each in fields(record) if each.name in detail]
    return record(**{each.name: _value(each, hints[each.name], detail[each.name]) for each in known})


def _value(field: Field[Any], hint: Any, value: Any) -> Any:
    """A number that was not finite is what it is by default, or not known."""
    if value is None and hint is float:
        return math.nan if field.default is MISSING else field.default
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return hint(value)
    if field.name == "budget":
        return tuple(_line_of_budget(line) for line in value)
    return value


def _line_of_budget(line: Mapping[str, Any]) -> Contribution:
    degrees = line["degrees_of_freedom"]
    return Contribution(**{**line, "degrees_of_freedom": math.inf if degrees is None else degrees})


@cache
def _hints(kind: str) -> dict[str, Any]:
    return get_type_hints(FOLLOWED_KINDS[kind])
