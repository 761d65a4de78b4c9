"""The result: one line for each measured value, with its goal beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Row:
    """`low` and `high` are the ends of the goal, in the unit of the value; None where there is none. NaN stands for
    what was not measured."""

    name: str
    value: float
    unit: str = ""
    low: float | None = None
    high: float | None = None
    detail: str = ""

    @property
    def met(self) -> bool | None:
        if (self.low is None and self.high is None) or math.isnan(self.value):
            return None
        return (self.low is None or self.value >= self.low) and (self.high is None or self.value <= self.high)

    @property
    def goal(self) -> str:
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g} {self.unit}"
        if self.high is not None:
            return f"<= {self.high:g} {self.unit}"
        return "" if self.low is None else f">= {self.low:g} {self.unit}"

    def as_dict(self) -> dict[str, Any]:
        measured = None if math.isnan(self.value) else self.value
        return asdict(self) | {"value": measured, "met": self.met}


def lines(rows: Sequence[Row]) -> list[str]:
    """The table as text."""
    cells = [("what", "measured", "goal", "", "detail")] + [_cells(row) for row in rows]
    widths = [max(len(row[column]) for row in cells) for column in range(4)]
    return [
        f"{name:<{widths[0]}}  {value:>{widths[1]}}  {goal:>{widths[2]}}  {met:<{widths[3]}}  {detail}".rstrip()
        for name, value, goal, met, detail in cells
    ]


def _cells(row: Row) -> tuple[str, str, str, str, str]:
    met = {None: "", True: "met", False: "MISSED"}[row.met]
    value = "not measured" if math.isnan(row.value) else f"{row.value:.3g} {row.unit}".rstrip()
    if abs(row.value) >= 99.5:
        value = f"{row.value:.1f} {row.unit}".rstrip()
    return row.name, value, row.goal.rstrip(), met, row.detail
