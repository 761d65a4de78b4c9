"""A cylinder channel that freezes in the middle of a fill: the pressure rises from tick to tick, and then stands.

Air stands where what flows in is what leaks, so where it stands tells the leak; and how fast it rose tells the volume:

    dp/dt = rate * (phi(p / supply) - phi(end / supply) * p / end),  phi: the flow function of the restrictor

From its last pressure before the stand this gives how much a living channel would still have had to move within it.
Near the supply that is nothing, for there the flow falls off steeply; in the middle of a fill it is percents. And where
the air was shut off meanwhile, what the filling has heated cools, and the pressure falls by percents within the next
half second. The figures are judgements, without a source.
"""

from __future__ import annotations

import numpy as np

from daq.measure import orifice
from daq.measure.trailing import windows
from daq.records import Bools, Floats, Instrument, Ints

_STILL_ROWS = 8
"""Less than the shortest window of a stable reading."""
_RISE_ROWS = 3
"""Between them it rose, twice, and then up to where it stands: what jumps does so in two ticks at most."""
_ROWS = _RISE_ROWS + 1 + _STILL_ROWS
"""Then comes the tick in which it froze, and so lies anywhere between, and all those in which it stood."""
_LEAST_RISE, _EVEN = 0.005, 0.85
"""A tick's rise, of the set point; and what part of the one before it: air that follows a hand on the valve, which
tells nothing of its volume, slows down before the hand stops."""
_MOVED = 0.005
"""Of the set point: it does not stand, or lives again."""
_TIMES, _LEAST_LEFT = 4.0, 0.005
"""How many times what it moved, a count at least, it would have had to move; and how much, of the set point."""
_APART = 0.02
"""Of the set point, by which the two channels may differ: what stands higher, below the least supply, is full."""
_QUICKER = orifice.GAMMA
"""Air that filled at constant temperature may come to its end without an exchange of heat."""
_STEPS = 8
_TICKS = 2
"""From the middle of the last tick before to that of the first in which it stood."""


class FrozenFill:
    """For one segment. The rows themselves are given to it, `BACK_ROWS` or more before the new ones."""

    BACK_ROWS = _ROWS

    def __init__(self, instrument: Instrument) -> None:
        self._set_point_pa, self._atmosphere_pa = instrument.set_point_pa, instrument.atmosphere_pa
        self._critical_ratio = instrument.critical_ratio
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
        rises, still = np.diff(cylinder[:, : _RISE_ROWS + 2]), cylinder[:, -_STILL_ROWS:]
        low, high = still.min(axis=-1), still.max(axis=-1)
        even = (rises[:, 0] > _LEAST_RISE * self._set_point_pa) & (rises[:, 1] > _EVEN * rises[:, 0])
        stood: Bools = even & (low > cylinder[:, _RISE_ROWS - 1]) & (high - low <= _MOVED * self._set_point_pa)
        if stood.any():
            least = np.maximum(_TIMES * np.maximum(high - low, count_pa), _LEAST_LEFT * self._set_point_pa)[stood]
            end, full = 0.5 * (low + high)[stood], supply.min(axis=-1)[stood] - _APART * self._set_point_pa
            last, before = cylinder[stood, _RISE_ROWS - 1], cylinder[stood, _RISE_ROWS - 2]
            stood[stood] = self._left(before, last, end, full, rises[stood, 1:].max(axis=-1)) > least
        return stood

    def _left(self, before_pa: Floats, last_pa: Floats, end_pa: Floats, supply_pa: Floats, rise_pa: Floats) -> Floats:
        """How far from its end a living channel would still be in the first tick in which it stood, at the least.

        `rise_pa` is the largest of the last: an opening valve, or ticks that were lost, make the later ones larger."""
        before, last, end = (pressure + self._atmosphere_pa for pressure in (before_pa, last_pa, end_pa))
        supply = np.maximum(supply_pa + self._atmosphere_pa, end / orifice.LINEAR_ABOVE)
        leak = orifice.flow_function(end / supply, self._critical_ratio) / end

        def net(pressure: Floats) -> Floats:
            return orifice.flow_function(pressure / supply, self._critical_ratio) - leak * pressure

        turned = _QUICKER * _TICKS / _STEPS * rise_pa / net(0.5 * (before + last))
        left = end - last
        for _ in range(_STEPS):  # towards the end with the mean slope up to it
            left = left * np.exp(-turned * np.maximum(net(end - left), 0.0) / np.maximum(left, 1.0))
        return left

    def _step(self, now_pa: float, begins: bool) -> bool:
        if begins:
            self._stands_pa = now_pa
        elif self._stands_pa is not None and not abs(now_pa - self._stands_pa) <= _MOVED * self._set_point_pa:
            self._stands_pa = None
        return self._stands_pa is not None
