"""A cylinder channel that freezes in the middle of a fill: the pressure rises from tick to tick, and then stands.

No air does that. An approach to an end slows down over several ticks, by a factor of four a tick at most (30 cc that
leak half of what a large restrictor passes); and where the air was shut off meanwhile, what the filling has heated
cools, and the pressure falls by percents within the next half second. The figures are judgements, without a source.
"""

from __future__ import annotations

import numpy as np

from daq.measure.trailing import windows
from daq.records import Bools, Floats, Ints

_STILL_ROWS = 8
"""Less than the shortest window of a stable reading."""
_RISE_ROWS = 4
"""Between them it rose, three times: what jumps does so in two ticks at most."""
_ROWS = _RISE_ROWS + 1 + _STILL_ROWS
"""Then comes the tick in which it froze, and so lies anywhere between, and all those in which it stood."""
_LEAST_RISE, _TIMES, _EVEN = 0.005, 15.0, 0.5
"""A tick's rise, of the set point; how many times what it moved in all the ticks after, a count at least; and what part
of it each of the two rises before was."""
_BELOW = 0.03
"""Of the set point, below the supply: what stands higher is full."""
_MOVED = 0.005  # of the set point: it lives again


class FrozenFill:
    """For one segment. The rows themselves are given to it, `BACK_ROWS` or more before the new ones."""

    BACK_ROWS = _ROWS

    def __init__(self, set_point_pa: float) -> None:
        self._set_point_pa = set_point_pa
        self._stands_pa: float | None = None

    def feed(self, past_pa: Floats, rows: int, count_pa: float) -> Bools:
        """Of each of the last `rows` columns of supply and cylinder whether the cylinder channel stands frozen."""
        cylinder, end = past_pa[1], past_pa.shape[1]
        rises = cylinder[end - rows - _STILL_ROWS - 1 : end - _STILL_ROWS - 1]
        rises = rises - cylinder[end - rows - _STILL_ROWS - 2 : end - _STILL_ROWS - 2]
        begins: Bools = rises > _LEAST_RISE * self._set_point_pa
        (steep,) = begins.nonzero()
        if self._stands_pa is None and not len(steep):
            return begins
        begins[steep] = self._stood(past_pa, end - rows + steep, count_pa)
        values = cylinder[end - rows :].tolist()
        return np.array([self._step(*row) for row in zip(values, begins.tolist(), strict=True)], np.bool_)

    def _stood(self, past_pa: Floats, ends: Ints, count_pa: float) -> Bools:
        supply, cylinder = windows(past_pa, ends, _ROWS)
        rises, still = np.diff(cylinder[:, :_RISE_ROWS]), cylinder[:, -_STILL_ROWS:]
        moved = np.maximum(still.max(axis=-1) - still.min(axis=-1), count_pa)
        steep = (rises[:, -1] > _TIMES * moved) & (rises.min(axis=-1) >= _EVEN * rises[:, -1])
        low = supply.min(axis=-1) - cylinder[:, -1] > _BELOW * self._set_point_pa
        stood: Bools = steep & low & (still.min(axis=-1) >= cylinder[:, _RISE_ROWS - 1])
        return stood

    def _step(self, now_pa: float, begins: bool) -> bool:
        if begins:
            self._stands_pa = now_pa
        elif self._stands_pa is not None and not abs(now_pa - self._stands_pa) <= _MOVED * self._set_point_pa:
            self._stands_pa = None
        return self._stands_pa is not None
