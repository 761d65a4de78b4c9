"""The last minute of both pressures and the loss, for a page that is opened in the middle of it."""

from __future__ import annotations

import json
import math
from collections import deque
from itertools import islice

import numpy as np

from daq.records import Readings
from daq.units import PressureUnit

SECONDS = 60.0
TICKS_PER_S = 20
EACH = 2
"""A page draws every second tick: that is how often it is told of the live reading, too."""


class Trace:
    """Rows of (seconds since 1970, supply, cylinder, loss at the set point), pressures in `unit`."""

    def __init__(self, unit: PressureUnit) -> None:
        self._unit = unit
        self._rows: deque[tuple[float, float, float, float]] = deque(maxlen=int(SECONDS * TICKS_PER_S))

    def add(self, rows: Readings, utc_offset_s: float, visible: bool = True) -> None:
        """`visible`: there is air on the cylinder, so its loss means something."""
        columns = (
            rows.t_s + utc_offset_s,
            rows.supply_gauge_pa / self._unit.pa,
            rows.cylinder_gauge_pa / self._unit.pa,
            rows.loss_at_set_pct if visible else np.full(rows.t_s.size, np.nan),
        )
        self._rows.extend(zip(*(column.tolist() for column in columns), strict=True))

    def body(self) -> str:
        """JSON: a list for each column; null for what is no number."""
        thin = list(islice(self._rows, 0, None, EACH))
        return json.dumps([[_tidy(row[column]) for row in thin] for column in range(4)], separators=(",", ":"))


def _tidy(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
