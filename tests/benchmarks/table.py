"""The result: one line for each measured value, with its goal beside it."""

from __future__ import annotations

import operator
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

_HOLDS: dict[str, Callable[[float, float], bool]] = {"<=": operator.le, "<": operator.lt, ">=": operator.ge}


@dataclass(frozen=True)
class Row:
    """`goal` is a number with `relation` before it, in the unit of the value; None where there is no goal."""

    name: str
    value: float
    unit: str
    relation: str = ""
    goal: float | None = None
    detail: str = ""

    @property
    def met(self) -> bool | None:
        return None if self.goal is None else _HOLDS[self.relation](self.value, self.goal)

    def as_dict(self) -> dict[str, Any]:
        return asdict(self) | {"met": self.met}


def lines(rows: Sequence[Row]) -> list[str]:
    """The table as text."""
    cells = [("what", "measured", "goal", "", "detail")] + [_cells(row) for row in rows]
    widths = [max(len(row[column]) for row in cells) for column in range(4)]
    return [
        f"{name:<{widths[0]}}  {value:>{widths[1]}}  {goal:>{widths[2]}}  {met:<{widths[3]}}  {detail}".rstrip()
        for name, value, goal, met, detail in cells
    ]


def _cells(row: Row) -> tuple[str, str, str, str, str]:
    goal = "" if row.goal is None else f"{row.relation} {row.goal:g} {row.unit}"
    met = {None: "", True: "met", False: "MISSED"}[row.met]
    return row.name, f"{_rounded(row.value)} {row.unit}", goal, met, row.detail


def _rounded(value: float) -> str:
    """Three figures, without an exponent."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
