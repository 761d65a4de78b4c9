"""The last minute of both pressures and the loss, for a page that is opened in the middle of it."""

from __future__ import annotations

import json
import math
from collections import deque
from itertools import islice

from daq.records import Readings
from daq.units import PressureUnit

SECONDS = 60.0
TICKS_PER_S = 20
EACH = 2
"""A page draws every second tick: that is how often it is told of the live reading, too."""


class Trace:
    """Rows of (seconds since 1970, supply, cylinder, loss at the set point); a page gets the pressures in `unit`."""

    def __init__(self, unit: PressureUnit) -> None:
        self._unit = unit
        self._rows: deque[tuple[float, float, float, float]] = deque(maxlen=int(SECONDS * TICKS_PER_S))

    def add(self, rows: Readings, utc_offset_s: float, visible: bool = True) -> None:
        """`visible`: there is air on the cylinder, so its loss means something."""
        lost_pct = rows.loss_at_set_pct.tolist() if visible else [math.nan] * rows.t_s.size
        at_s, supply_pa, cylinder_pa = rows.t_s + utc_offset_s, rows.supply_gauge_pa, rows.cylinder_gauge_pa
        self._rows.extend(zip(at_s.tolist(), supply_pa.tolist(), cylinder_pa.tolist(), lost_pct, strict=True))

    def body(self) -> str:
        """JSON: a list for each column; null for what is no number."""
        thin, units = list(islice(self._rows, 0, None, EACH)), (1.0, self._unit.pa, self._unit.pa, 1.0)
        columns = [[_tidy(row[place] / unit) for row in thin] for place, unit in enumerate(units)]
        return json.dumps(columns, separators=(",", ":"))


def _tidy(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
