"""The zero of both channels, checked whenever the line is vented: a small shift is taken off, a large one is refused.

Vented means that both channels read next to nothing and stand still. That cannot be told from a small pressure that
stands still as well, so only as much is ever taken off as the class of the sensors explains.

Channels that were paired move together, by the zero of the supply channel: the cylinder's is read on its scale. What
they differ by at no pressure is no news of the pairing: that is a line through plateaus under pressure, and bow and
hysteresis part it from the vented zero by more than some days of drift do. Taken off as well, it would make a fresh
pairing three to five times worse.

Each shift alone may be small enough. A cumulative sum over the checks tells when they go on in one direction: sensors
that still warm up, or one that fails slowly.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from daq.measure.cusum import DriftWatch, Told
from daq.measure.trailing import Trailing
from daq.records import Bools, Calibration, Floats, Pressures, ZeroCheck

VENTED = 0.03
"""Of full scale: what reads more than this is under pressure."""
VENTED_AND_STILL = "the line is vented and both channels stand still"
WINDOW_ROWS = 60
"""Three seconds of ticks: they decide whether the line stands still, and their mean is the shift."""
_STILL = 0.0006  # of full scale, between the means of the first and the last third
_TAKEN_OFF = 2.0  # times the class of the sensor
_SCATTER = 0.1
"""Of the class of the sensor: standard deviation of its zero from check to check, half of the widest hysteresis of a
good one (common practice, no source)."""
_THIRD = WINDOW_ROWS // 3


class ZeroMonitor:
    """Takes the present zero off the pressures, and tells of each check: once for each time that the line is vented.

    Without `adjust` it only tells. The shift lives as long as the monitor: a board that restarts keeps its sensors.
    """

    def __init__(self, calibration: Calibration, adjust: bool = True) -> None:
        self._adjust, self._paired = adjust, calibration.pairing is not None
        channels = (calibration.supply, calibration.cylinder)
        self._full_scale_pa = np.array([channel.full_scale_pa for channel in channels])
        self._vented_pa = VENTED * self._full_scale_pa[:, None]
        self._most_pa = _TAKEN_OFF * np.array([channel.accuracy_pa for channel in channels])
        self._shift_pa = np.zeros(2)
        self._since: tuple[int, float] | None = None
        self._drift = DriftWatch(_SCATTER * np.array([channel.accuracy_pa for channel in channels]))
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._trailing = Trailing(2, WINDOW_ROWS)
        self._vented_rows = 0
        self._checked = False

    def feed(self, pressures: Pressures) -> tuple[Pressures, list[ZeroCheck]]:
        """The pressures with the zero of each row taken off, and the checks among these rows."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        joined = self._trailing.feed(pressures.supply_gauge_pa, pressures.cylinder_gauge_pa)
        supply, cylinder = np.abs(joined[:, WINDOW_ROWS - 1 :]) < self._vented_pa
        shift_pa, checks = self._shift_pa[:, None], []
        for row in self._due(supply & cylinder):
            if (mean_pa := self._still(joined[:, row : row + WINDOW_ROWS])) is None:
                continue
            checks.append(self._check(pressures.segment, float(pressures.t_s[row]), mean_pa))
            rows = np.arange(len(pressures.t_s))
            shift_pa = np.where(rows < row, shift_pa, self._shift_pa[:, None])
        return _without(pressures, shift_pa), checks

    def taken_off(self, segment: int, t_s: float) -> bool:
        """Whether the pressures of that moment are those of channels whose zero was seen."""
        return self._since is not None and self._since <= (segment, t_s)

    def _due(self, vented: Bools) -> Iterator[int]:
        """Rows at which the line has been vented for a whole window and was not yet checked since it is."""
        if len(vented) and not np.count_nonzero(vented):
            self._vented_rows, self._checked = 0, False
            return
        for row, is_vented in enumerate(vented.tolist()):
            self._vented_rows = self._vented_rows + 1 if is_vented else 0
            self._checked = self._checked and is_vented
            if self._vented_rows >= WINDOW_ROWS and not self._checked:
                self._vented_rows = 0
                yield row

    def _still(self, window: Floats) -> Floats | None:
        """Means of both channels over the window, or None if one of them still moves."""
        first, last = window[:, :_THIRD].mean(axis=1), window[:, -_THIRD:].mean(axis=1)
        still = (np.abs(last - first) < _STILL * self._full_scale_pa).all()
        return window.mean(axis=1) if still else None

    def _check(self, segment: int, t_s: float, mean_pa: Floats) -> ZeroCheck:
        self._checked = True
        supply_pa, cylinder_pa = mean_pa.tolist()
        too_far = np.abs(mean_pa) > self._most_pa
        if too_far.any():
            reason = _refusal([name for name, far in zip(("supply", "cylinder"), too_far, strict=True) if far])
            return ZeroCheck(segment, t_s, supply_pa, cylinder_pa, False, reason)
        if self._adjust:
            self._since = self._since or (segment, t_s)
            self._shift_pa = np.full(2, supply_pa) if self._paired else mean_pa
        reason = VENTED_AND_STILL + _drifting(self._drift.feed(mean_pa))
        return ZeroCheck(segment, t_s, supply_pa, cylinder_pa, self._adjust, reason)


def _refusal(names: list[str]) -> str:
    which = " and ".join(names)
    return (
        f"the {which} channel is further from zero than its class allows: is the line open to the air? "
        "If it is, check sensor and wiring, and calibrate it anew"
    )


def _drifting(told: Told) -> str:
    """What to say of channels whose zero goes on moving; nothing of none."""
    ways = ("up" if up else "down" for up in told.up)
    moved = [f"{name} {way}" for name, way, any_ in zip(("supply", "cylinder"), ways, told.any, strict=True) if any_]
    if not moved:
        return ""
    which = " and ".join(moved)
    return f"; from check to check the zero goes on moving ({which}): let it warm up, pair anew, and watch the sensor"


def _without(pressures: Pressures, shift_pa: Floats) -> Pressures:
    """Each row less its shift, or all of them less one."""
    supply_pa, cylinder_pa = shift_pa
    return Pressures(
        pressures.segment,
        pressures.t_s,
        pressures.supply_gauge_pa - supply_pa,
        pressures.cylinder_gauge_pa - cylinder_pa,
        pressures.cylinder_low_gauge_pa - cylinder_pa,
        pressures.flags,
    )
