"""A tap on a valve: the cylinder pressure falls at once, by 1 to 90 psi, and comes back within seconds.

Seen on the tick means, with the lowest sample of each tick for falls shorter than a tick. What the supply did in the
same time is held against it: a fall that the supply explains is no tap, nor is one that does not come back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.measure.air import FALL_S, OFF_BELOW, ON_ABOVE
from daq.measure.trailing import Trailing
from daq.records import Bools, Floats, Instrument, Pressures, Tap

LEAST_DEPTH = 0.008
"""A fall of less than this part of the set point is never a tap."""
LONGEST_S = 3.5
"""From the onset to the recovery: a longer fall is a leak or a loose hose."""
SHORTEST_CUT_S = 0.12
"""Where the next fall cuts the recovery short, it must have lasted so long: the first ticks of venting look so."""
_NOISE_LIMIT = 7.0
_LEAST_COUNTS = 4.0
_BACK = 0.9  # of the depth: recovered
_HALF_BACK, _FLAT_S = 0.5, 0.5  # of the depth, and how long at rest: recovered to a new, lower level
_SUDDEN_S, _SOME_BACK = 0.12, 0.12
"""A blow opens the valve for less than that: what lies lowest so soon, and comes back by so much of its depth at least,
was let out by a blow, however much more is lost since. A loose hose only falls, and a crank takes longer to roll."""
_SECOND_AFTER, _SECOND_DEPTH = 0.25, 0.05  # of the depth: how far up, then how far down again
_MEAN_SHARE, _SUM_SHARE = 0.25, 0.4
"""Of the depth, what must show in the mean of some tick, and in all means together. A cylinder can only be filled
through the restrictor: the smallest tight one (30 cc) takes some 20 ms for it, beside the blow itself, so no mean hides
a whole fall; one bad sample of three or more does not show so much."""
_SUPPLY_SHARE = 2.0  # the fall must be this many times that of the supply
_CALM_ROWS = 31
_MEDIAN_STEP_TO_SIGMA = 1.482602218505602 / 2**0.5


@dataclass(frozen=True, slots=True)
class _Row:
    """One tick as the detector sees it. `before_pa` is the higher of the two means before it."""

    t_s: float
    mean_pa: float
    low_pa: float
    supply_pa: float
    before_pa: float
    supply_before_pa: float
    held: bool

    @property
    def drop_pa(self) -> float:
        return self.before_pa - self.low_pa


@dataclass(slots=True)
class _Fall:
    """A fall that may turn out to be a tap."""

    onset_s: float
    from_pa: float
    usual_pa: float
    limit_pa: float
    supply_high_pa: float
    supply_low_pa: float
    low_pa: float
    low_s: float
    mean_low_pa: float
    missing_pa: float
    """How far the means lay below the begin, summed over the ticks."""
    high_pa: float = -np.inf
    """Highest mean after the tick of the lowest sample, whose own mean may still hold what came before the fall."""
    rest_pa: float = -np.inf
    """The level that the recovery was last seen to pass, and when."""
    rest_s: float = 0.0
    empty_since_s: float = np.inf

    @property
    def depth_pa(self) -> float:
        return self.from_pa - self.low_pa

    @property
    def explained(self) -> bool:
        """By what the supply did."""
        return self.depth_pa < _SUPPLY_SHARE * (self.supply_high_pa - self.supply_low_pa)

    def vented(self, row: _Row, empty_pa: float) -> bool:
        """Empty for as long as no tap leaves a cylinder: what comes after that is new air."""
        self.empty_since_s = min(self.empty_since_s, row.t_s) if row.mean_pa < empty_pa else np.inf
        return row.t_s - self.empty_since_s >= FALL_S

    def follow(self, row: _Row) -> None:
        self.supply_low_pa = min(self.supply_low_pa, row.supply_pa)
        self.mean_low_pa = min(self.mean_low_pa, row.mean_pa)
        self.missing_pa += max(self.from_pa - row.mean_pa, 0.0)
        if row.low_pa < self.low_pa:
            self.low_pa, self.low_s, self.high_pa, self.rest_pa = row.low_pa, row.t_s, -np.inf, -np.inf
        else:
            self.high_pa = max(self.high_pa, row.mean_pa)
        if row.mean_pa > self.rest_pa + self.limit_pa / 4:
            self.rest_pa, self.rest_s = row.mean_pa, row.t_s

    def recovered(self, row: _Row) -> bool:
        most_pa = max((1 - _BACK) * self.depth_pa, self.limit_pa / 4)
        if self.high_pa >= self.usual_pa - most_pa:
            return True
        up_pa, sudden = self.high_pa - self.low_pa, self.low_s - self.onset_s <= _SUDDEN_S
        least_pa = max(_SOME_BACK * self.depth_pa, self.limit_pa) if sudden else _HALF_BACK * self.depth_pa
        return up_pa >= least_pa and row.t_s - self.rest_s >= _FLAT_S

    def falls_again(self, row: _Row) -> bool:
        up_pa, again_pa = self.high_pa - self.low_pa, self.high_pa - row.low_pa
        return up_pa >= _SECOND_AFTER * self.depth_pa and again_pa > max(self.limit_pa, _SECOND_DEPTH * self.depth_pa)

    def tap(self, segment: int, end_s: float) -> list[Tap]:
        if self.explained or self._spike():
            return []
        return [Tap(segment, end_s, self.onset_s, self.depth_pa, end_s - self.onset_s)]

    def _spike(self) -> bool:
        """Too little air is missing for a fall so deep: single samples were disturbed, or it is noise."""
        least_pa = max(_MEAN_SHARE * self.depth_pa, self.limit_pa / 2)
        return self.from_pa - self.mean_low_pa < least_pa or self.missing_pa < _SUM_SHARE * self.depth_pa


class TapDetector:
    """Taps among the rows; each is told when it has recovered, or when the next one cuts its recovery short.

    A fall that comes half back and stays there counts too, and a sudden one that comes back a little: a tap may leave a
    valve worse than it was. `resolution_pa` is one count of the converter.

    `falling` tells of each row of the last `feed` whether a fall is under way that may turn out to be a tap.
    """

    falling: Bools

    def __init__(self, instrument: Instrument, resolution_pa: float = 0.0) -> None:
        self._set_point_pa = instrument.set_point_pa
        self._least_pa = max(LEAST_DEPTH * instrument.set_point_pa, _LEAST_COUNTS * resolution_pa)
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._trailing = Trailing(4, _CALM_ROWS + 1)
        self._fall: _Fall | None = None
        self._last: _Fall | None = None
        self._rows_seen = self._last_row = 0
        self._held = np.zeros(2, np.bool_)

    def feed(self, pressures: Pressures, held: Bools, broken: Bools | None = None) -> list[Tap]:
        """Taps that ended among these rows; `held` tells for each row whether the supply was, and could be where the
        fall begins, `broken` whether a sensor says what is no pressure: a fall that leads there is none."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        joined = self._trailing.feed(
            pressures.t_s, pressures.cylinder_gauge_pa, pressures.cylinder_low_gauge_pa, pressures.supply_gauge_pa
        )
        _, mean, low, _ = joined
        before = np.fmax(mean[_CALM_ROWS - 1 : -1], mean[_CALM_ROWS - 2 : -2])
        (sudden,) = (before - low[_CALM_ROWS:] > self._least_pa).nonzero()
        since = np.concatenate((self._held, held))
        steady, self._held = since[2:] & since[1:-1] & since[:-2], since[len(held) :]
        taps: list[Tap] = []
        self.falling = np.zeros(len(held), np.bool_)
        row = 0
        while self._fall or len(sudden):
            if self._fall is None:
                sudden = sudden[np.searchsorted(sudden, row) :]
                row = int(sudden[0]) if len(sudden) else len(held)
            if row == len(held):
                break
            if broken is not None and broken[row]:
                self._fall = None
            taps += self._step(joined[:, row : row + _CALM_ROWS + 1], bool(steady[row]), self._rows_seen + row)
            self.falling[row] = self._fall is not None and not self._fall.explained
            row += 1
        self._rows_seen += len(held)
        return taps

    def _step(self, ticks: Floats, held: bool, number: int) -> list[Tap]:
        """`ticks` end with the one to be looked at."""
        fall, row = self._fall, _row(ticks, held)
        if fall is None:
            self._fall = self._onset(row, ticks[:, :-1], number)
            return []
        if row.t_s - fall.onset_s > LONGEST_S or fall.vented(row, OFF_BELOW * self._set_point_pa):
            self._fall = None
            return []
        if fall.falls_again(row):
            self._fall = _begin_fall(row, fall.usual_pa, fall.limit_pa)
            return fall.tap(self._segment, row.t_s) if row.t_s - fall.onset_s >= SHORTEST_CUT_S else []
        fall.follow(row)
        if not fall.recovered(row):
            return []
        self._fall, self._last, self._last_row = None, fall, number
        return fall.tap(self._segment, row.t_s)

    def _onset(self, row: _Row, before: Floats, number: int) -> _Fall | None:
        """A fall begins where the line is held and under pressure. Right after a fall the ticks before are not calm,
        so the limit of that fall stands, and its level, unless the tap has helped and the level is higher since."""
        if not (row.held and row.before_pa > ON_ABOVE * self._set_point_pa):
            return None
        if self._last is not None and number - self._last_row <= _CALM_ROWS:
            usual_pa, limit_pa = max(self._last.usual_pa, row.before_pa), self._last.limit_pa
        else:
            usual_pa, limit_pa = _calm(before, self._least_pa)
        return _begin_fall(row, usual_pa, limit_pa) if row.drop_pa > limit_pa else None


def _begin_fall(row: _Row, usual_pa: float, limit_pa: float) -> _Fall:
    supply_high_pa = max(row.supply_before_pa, row.supply_pa)
    return _Fall(
        onset_s=row.t_s,
        from_pa=row.before_pa,
        usual_pa=usual_pa,
        limit_pa=limit_pa,
        supply_high_pa=supply_high_pa,
        supply_low_pa=row.supply_pa,
        low_pa=row.low_pa,
        low_s=row.t_s,
        mean_low_pa=row.mean_pa,
        missing_pa=row.before_pa - row.mean_pa,
    )


def _row(ticks: Floats, held: bool) -> _Row:
    """The last of the ticks."""
    t_s, mean_pa, low_pa, supply_pa = ticks[:, -1].tolist()
    _, mean_before, _, supply_before = ticks[:, :-1]
    return _Row(
        t_s=t_s,
        mean_pa=mean_pa,
        low_pa=low_pa,
        supply_pa=supply_pa,
        before_pa=float(np.fmax(mean_before[-1], mean_before[-2])),
        supply_before_pa=float(supply_before.max()),
        held=held,
    )


def _calm(before: Floats, least_pa: float) -> tuple[float, float]:
    """The level of the calm ticks before a fall, and the fall that stands out from them."""
    _, mean, low, _ = before
    # Steps from tick to tick, so that a level which still creeps does not pass for noise.
    sigma_pa = _MEDIAN_STEP_TO_SIGMA * np.sort(np.abs(np.diff(low)))[_CALM_ROWS // 2]
    stands_out_pa = np.sort(mean - low)[_CALM_ROWS // 2] + _NOISE_LIMIT * sigma_pa
    return float(np.sort(mean)[_CALM_ROWS // 2]), float(np.maximum(least_pa, stands_out_pa))
