"""A supply channel that does not answer: the flow through the regulator changes, and it stands still.

Opening the air moves every regulator, by its droop or its hump, and venting moves it back; how far, this bench has
shown at the opening. A channel that moved then and stands still when the line empties is frozen, and so is one that
moved at the fills before and does not at this one. A coarse or quiet channel shows no noise that it could lose, but it
shows this; and one that has noise keeps it while it lives, whatever somebody may do to the regulator meanwhile.

The thresholds are judgements, without a source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.measure.air import OFF_BELOW
from daq.records import Bools, Floats

_REST_ROWS, _SKIP_ROWS = 8, 3
"""Before the air is opened: ticks of the level, and ticks that may hold some of the opening already."""
_SETTLED_ROWS, _SETTLED, _SAME = 40, 0.01, 0.03
"""The flow is that of the leak when the cylinder moves less than that, of the set point, in so many ticks; and still is
as long as the cylinder stands where it did."""
_LEVEL_ROWS = 10
_LOOK_ROWS = 20
"""Twice: a second before and a second after the line has emptied. Noise is looked at over as many."""
_UNMOVED, _QUIETER = 0.25, 0.5
"""Of what the supply should move, and of the noise that it had: what a frozen channel may (hum of its wire)."""
_LEAST_COUNTS, _SURE_COUNTS, _MOST = 0.8, 1.2, 0.03
"""By less than some 1 count a regulator may move unseen, unless the edge of a count is so near that noise shows; by
more than that, of the set point, somebody has turned it."""
_FLICKER_COUNTS = 0.5
"""What hum that reaches the edge of a count may make of a frozen channel, where it had no noise to be compared with."""
_LONGEST_ROWS = 100
"""How far the swing of a fill is looked back for."""


@dataclass(frozen=True, slots=True)
class _Answer:
    """How the supply answered when the air was opened: what it moved until the cylinder had settled (Pa, a sign is of
    no use), its range over a second then, and where the cylinder stood."""

    moved_pa: float
    noise_pa: float
    cylinder_pa: float


class UnmovedSupply:
    """For one segment. Keeps what the bench has shown; the rows themselves are given to it."""

    BACK_ROWS = _LONGEST_ROWS

    def __init__(self, set_point_pa: float) -> None:
        self._set_point_pa = set_point_pa
        self._rest_pa: float | None = None
        self._since_opening = 0
        self._answer: _Answer | None = None
        self._least = _Answer(np.inf, np.nan, np.nan)
        """Of all fills, with the whole way that the supply went."""
        self._emptied_since: int | None = None
        self._stands: tuple[float, float] | None = None
        """Where it stands unmoved, and how far off it has moved."""

    def feed(self, past_pa: Floats, rows: int, count_pa: float) -> Bools:
        """Of each of the last `rows` columns whether the supply stands unmoved. `past_pa` are supply and cylinder, NaN
        where no sensor could read that, with `BACK_ROWS` or more before the new ones. `count_pa` is one count."""
        unmoved = np.zeros(rows, np.bool_)
        first = past_pa.shape[1] - rows
        empty = past_pa[1, first - 1 :] < OFF_BELOW * self._set_point_pa
        turns = empty[1:] != empty[:-1]
        if self._idle and not turns.any():
            return unmoved
        for row in range(rows):
            unmoved[row] = self._step(past_pa[:, : first + row + 1], bool(turns[row]), bool(empty[row + 1]), count_pa)
        return unmoved

    @property
    def _idle(self) -> bool:
        return self._rest_pa is None and self._emptied_since is None and self._stands is None

    def _step(self, past_pa: Floats, turned: bool, empty: bool, count_pa: float) -> bool:
        if turned:
            self._turn(past_pa, empty)
        if self._rest_pa is not None:
            self._fill(past_pa, self._rest_pa, count_pa)
        if self._emptied_since is not None:
            self._empty(past_pa, count_pa)
        if self._stands is not None and not abs(past_pa[0, -1] - self._stands[0]) <= self._stands[1]:
            self._stands = None
        return self._stands is not None

    def _turn(self, past_pa: Floats, empty: bool) -> None:
        """The line has emptied, or begins to fill."""
        self._rest_pa = None
        self._emptied_since = 0 if empty and self._answer is not None else None
        if empty:
            return
        supply, cylinder = past_pa[:, -_REST_ROWS - _SKIP_ROWS - 1 : -_SKIP_ROWS - 1]
        if (cylinder < OFF_BELOW * self._set_point_pa).all():
            self._rest_pa, self._since_opening, self._answer = float(supply.mean()), 0, None

    def _fill(self, past_pa: Floats, rest_pa: float, count_pa: float) -> None:
        """How the supply answers, once the cylinder has settled; where it did before and does not now, it is frozen."""
        self._since_opening += 1
        cylinder = past_pa[1, -_SETTLED_ROWS:]
        if not cylinder.max() - cylinder.min() < _SETTLED * self._set_point_pa:
            return
        supply = past_pa[0, -min(self._since_opening + _REST_ROWS, _LONGEST_ROWS) :]
        noise_pa = float(np.ptp(past_pa[0, -_LOOK_ROWS:]))
        moved_pa = abs(float(past_pa[0, -_LEVEL_ROWS:].mean()) - rest_pa)
        swing = _Answer(float(np.ptp(supply)), noise_pa, float(cylinder[-1]))
        if _silent(supply, self._least, count_pa):
            self._stand(supply, self._least)
        elif swing.moved_pa < self._least.moved_pa:
            self._least = swing
        turned = moved_pa > _MOST * self._set_point_pa
        self._rest_pa, self._answer = None, None if turned else _Answer(moved_pa, noise_pa, float(cylinder[-1]))

    def _empty(self, past_pa: Floats, count_pa: float) -> None:
        """A second after the line has emptied."""
        assert self._emptied_since is not None and self._answer is not None
        self._emptied_since += 1
        if self._emptied_since < _LOOK_ROWS:
            return
        supply, cylinder = past_pa[:, -2 * _LOOK_ROWS :]
        same = abs(cylinder[0] - self._answer.cylinder_pa) <= _SAME * self._set_point_pa
        if same and _silent(supply, self._answer, count_pa):
            self._stand(supply, self._answer)
        self._emptied_since, self._answer = None, None

    def _stand(self, supply_pa: Floats, answer: _Answer) -> None:
        self._stands = float(supply_pa[-1]), 2 * _UNMOVED * answer.moved_pa


def _silent(supply_pa: Floats, answer: _Answer, count_pa: float) -> bool:
    """It moved far less than it should, and less than its noise was; of that a channel of few counts may show none."""
    range_pa = float(np.ptp(supply_pa))
    least = _LEAST_COUNTS if answer.noise_pa > 0 else _SURE_COUNTS
    if not (least * count_pa < answer.moved_pa < np.inf and range_pa < _UNMOVED * answer.moved_pa):
        return False
    flickers = answer.moved_pa > _SURE_COUNTS * count_pa and range_pa <= _FLICKER_COUNTS * count_pa
    return flickers or range_pa <= _QUIETER * answer.noise_pa
