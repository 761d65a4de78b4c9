"""An uncertainty budget as rows of text: by component, the greatest first, in units that a garage reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from daq.calibrate.points import CONDUCTANCE
from daq.measure.budget import interval
from daq.records import Contribution
from daq.units import PressureUnit

COLUMNS = ("component", "standard u", "points for each", "points", "part", "degrees of freedom")


@dataclass(frozen=True, slots=True)
class Combined:
    """What the lines of a budget add up to; all but `degrees` and `factor` in points of loss."""

    standard: float
    degrees: float
    factor: float

    @property
    def expanded(self) -> float:
        return self.factor * self.standard

    def sentence(self) -> str:
        return (
            f"combined standard uncertainty {self.standard:.3f} points, {degrees_text(self.degrees)} effective degrees "
            f"of freedom, coverage factor {self.factor:.2f}: expanded uncertainty {self.expanded:.2f} points (95 %)"
        )


def combine(lines: Sequence[Contribution]) -> Combined:
    """Ref: JCGM 100, 5.1.2 and annex G."""
    found = interval(lines)
    return Combined(found.u_pct, found.degrees, found.factor)


def budget_rows(lines: Iterable[Contribution], unit: PressureUnit) -> list[list[str]]:
    """One row a component, as `COLUMNS`; what does not touch the loss (it touches other quantities) comes last."""
    ordered = sorted(lines, key=lambda line: -abs(line.contribution_pct))
    total = math.fsum(line.contribution_pct**2 for line in ordered)
    return [_row(line, unit, total) for line in ordered]


def _row(line: Contribution, unit: PressureUnit, total: float) -> list[str]:
    size, name = _unit(line.unit, unit)
    part = line.contribution_pct**2 / total if total > 0 else 0.0
    return [
        line.component,
        f"{line.u / size:.3g} {name}",
        f"{line.sensitivity * size:+.3g} / {name}" if line.sensitivity else "none",
        f"{abs(line.contribution_pct):.3f}",
        f"{100 * part:.0f} %",
        degrees_text(line.degrees_of_freedom),
    ]


def _unit(name: str, unit: PressureUnit) -> tuple[float, str]:
    """Size in SI units and name of the unit that a component is shown in."""
    shown = {"Pa": (unit.pa, unit.value), "1": (0.01, "%"), "m3/(s Pa)": (CONDUCTANCE["l_min_bar"], "L/(min bar)")}
    return shown.get(name, (1.0, name))


def degrees_text(degrees: float) -> str:
    return "many" if degrees > 999 else f"{degrees:.0f}"
