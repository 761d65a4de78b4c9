"""Where the air of a cylinder gets out."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum


class LeakPath(StrEnum):
    """All of them end in the open: the neighbour's plug is out, the filler caps are off."""

    INTAKE = "intake"
    EXHAUST = "exhaust"
    CRANKCASE = "crankcase"
    COOLANT = "coolant"
    NEXT_CYLINDER = "next_cylinder"


class Leaks:
    """Effective area of each path (m2). Debris under a valve seat adds to its path until taps clear it; they may also
    lodge some."""

    def __init__(self, areas_m2: Mapping[LeakPath, float], debris_m2: Mapping[LeakPath, float] | None = None) -> None:
        self.areas_m2 = dict(areas_m2)
        self.debris_m2 = dict(debris_m2 or {})

    @property
    def total_m2(self) -> float:
        """All paths together: they lead from one pressure to one pressure, so their areas add."""
        return sum(self.areas_m2.values()) + sum(self.debris_m2.values())

    def clear(self, path: LeakPath, fraction: float, lodged_m2: float = 0.0) -> None:
        """A tap on the valve of this path blows out a fraction of what is left of its debris, and lodges more."""
        self.debris_m2[path] = self.debris_m2.get(path, 0.0) * (1.0 - fraction) + lodged_m2
