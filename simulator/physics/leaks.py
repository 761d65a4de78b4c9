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

    def by_path_m2(self) -> dict[LeakPath, float]:
        """Area of each path that leaks, its debris included."""
        areas = {path: self.areas_m2.get(path, 0.0) + self.debris_m2.get(path, 0.0) for path in LeakPath}
        return {path: area_m2 for path, area_m2 in areas.items() if area_m2 > 0.0}

    def widen(self, path: LeakPath, by_m2: float) -> None:
        """The path leaks that much more."""
        self.areas_m2[path] = self.areas_m2.get(path, 0.0) + by_m2

    def multiply(self, path: LeakPath, times: float) -> None:
        """The path leaks so many times as much."""
        self.areas_m2[path] = self.areas_m2.get(path, 0.0) * times

    def lodge(self, path: LeakPath, debris_m2: float) -> None:
        """More debris comes to lie on the seat of the valve of this path."""
        self.debris_m2[path] = self.debris_m2.get(path, 0.0) + debris_m2

    def clear(self, path: LeakPath, fraction: float, lodged_m2: float = 0.0) -> None:
        """A tap on the valve of this path blows out a fraction of what is left of its debris, and lodges more."""
        self.debris_m2[path] = self.debris_m2.get(path, 0.0) * (1.0 - fraction)
        self.lodge(path, lodged_m2)
