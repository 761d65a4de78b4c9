"""A line that empties with its air still on: a crank that rolled until a valve opened, or a hose that came off.

On the cylinder side both look like venting. Venting shuts the air off, and so undoes at the supply what opening the air
did there: the regulator feeds no flow again, wherever its droop and its hump had put it. With the air on it feeds the
whole flow of the restrictor instead, and sinks. And a piston that runs down leaves less than the atmosphere behind it,
before the air flows in; no vent does that.
"""

from __future__ import annotations

import numpy as np

from daq.measure.air import OFF_BELOW
from daq.measure.trailing import Trailing
from daq.records import Bools, Floats, Instrument, Pressures
from daq.units import both

_EMPTY_ROWS = 20
"""A second without pressure; the second half of it is what the line rests at."""
_REST_ROWS = 10
_FALL_ROWS = 20
_BEFORE_ROWS = 60
"""Three seconds before the fall, in means of half a second: the supply has not been lower than the lowest of them."""
_ROWS = _BEFORE_ROWS + _FALL_ROWS + _EMPTY_ROWS
_SUNK = 0.0015
"""Of the set point: a supply that sank lies lower by so much than it did with the flow, and than it did without. What
tank and regulator take from it meanwhile is less: 0.0016 at most at 500 simulated vents behind uneasy compressors, and
half a thousandth behind good ones (judgement, no source). A roll that goes unnoticed here spoils nothing: what was
captured before it is true. One that is told falsely takes a true capture back."""
_NOISE_LIMIT = 3.0
_UNDER = 0.002  # of the set point: below what the line then rests at

_SUPPLY, _CYLINDER, _HELD, _STABLE = range(4)


class EmptiedLine:
    """Looks back at each row at which the cylinder side has been empty for a second, from a stable pressure and with
    the supply held all the time."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self.begin()

    def begin(self) -> None:
        """A new segment."""
        self._trailing = Trailing(4, _ROWS)
        self._shut_pa: float | None = None
        self._opening_pa: float | None = None
        """What the supply gained when the air was opened; a loss is negative."""

    def feed(self, pressures: Pressures, held: Bools, stable: Bools) -> dict[int, str]:
        """Rows at which it is plain that the air is still on, each with what was seen."""
        joined = self._trailing.feed(
            pressures.supply_gauge_pa, pressures.cylinder_gauge_pa, held.astype(float), (held & stable).astype(float)
        )
        cylinder, first = joined[_CYLINDER], _ROWS - 1
        empty = (cylinder < OFF_BELOW * self._instrument.set_point_pa) & (cylinder > -self._instrument.atmosphere_pa)
        if self._shut_pa is None and not empty.any():
            return {}
        fills, settles = empty[:-1] & ~empty[1:], joined[_STABLE, 1:] > joined[_STABLE, :-1]
        empties = np.zeros(len(empty), np.bool_)
        empties[_EMPTY_ROWS:] = (empty[1:] & ~empty[:-1])[: 1 - _EMPTY_ROWS]
        seen: dict[int, str] = {}
        for row in (np.flatnonzero((fills | settles | empties[1:])[first - 1 :]) + first).tolist():
            rows = joined[:, row + 1 - _ROWS : row + 1]
            if empties[row] and empty[row + 1 - _EMPTY_ROWS : row + 1].all() and (text := self._judge(rows)):
                seen[row - first] = text
            self._remember(rows, bool(fills[row - 1]), bool(empty[row - _REST_ROWS : row].all()))
        return seen

    def _remember(self, rows: Floats, fills: bool, was_empty: bool) -> None:
        """Of the supply: its level just before the air was opened, then by how much it had changed when all settled."""
        if fills and was_empty:
            self._shut_pa, self._opening_pa = float(rows[_SUPPLY, -1 - _REST_ROWS : -1].mean()), None
        elif self._shut_pa is not None and rows[_STABLE, -1] > 0:
            self._opening_pa = float(rows[_SUPPLY, -_REST_ROWS:].mean()) - self._shut_pa
            self._shut_pa = None

    def _judge(self, rows: Floats) -> str:
        """`rows` end with the second without pressure, shape (4, 100)."""
        last = np.flatnonzero(rows[_STABLE, :-_EMPTY_ROWS] > 0)
        if not len(last) or last[-1] < _BEFORE_ROWS - 1 or not rows[_HELD, last[-1] :].all():
            return ""
        before, after = rows[:, last[-1] + 1 - _BEFORE_ROWS : last[-1] + 1], rows[:, last[-1] + 1 :]
        from_pa = float(before[_CYLINDER, -_REST_ROWS:].mean())
        what = f"The cylinder emptied from {both(from_pa)}, "
        if self._under(after[_CYLINDER]):
            return f"{what}and for a moment it held less than the atmosphere: a piston ran down."
        if self._sunk(before[_SUPPLY], after[_SUPPLY, -_REST_ROWS:]):
            return f"{what}and the supply sank to {both(float(after[_SUPPLY, -_REST_ROWS:].mean()))}: its air is on."
        return ""

    def _under(self, cylinder_pa: Floats) -> bool:
        """By more than the readings at rest differ among themselves."""
        rest = np.sort(cylinder_pa[-_REST_ROWS:])
        limit_pa = _UNDER * self._instrument.set_point_pa + rest[-1] - rest[0]
        return bool(rest[0] - cylinder_pa[:-_REST_ROWS].min() > limit_pa)

    def _sunk(self, before_pa: Floats, after_pa: Floats) -> bool:
        """Lower than in the seconds before, and than without any flow."""
        if self._opening_pa is None:
            return False
        halves_pa = np.ascontiguousarray(before_pa).reshape(-1, _REST_ROWS).mean(axis=1)
        limit_pa = max(_SUNK * self._instrument.set_point_pa, _NOISE_LIMIT * float(halves_pa.std(ddof=1)))
        without_flow_pa = halves_pa.mean() - self._opening_pa
        return bool(min(halves_pa.min(), without_flow_pa) - limit_pa > after_pa.mean())
