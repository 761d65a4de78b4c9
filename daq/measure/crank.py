"""A crank that moves under pressure: the cylinder pressure falls well below its stable value and does not come back.

A tap comes back, a droop shows on the supply, and venting shuts the air off. What is left is a piston that moved off
top dead centre (its volume grows, then a valve opens), or a hose that leaks or came off: all want the air off.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from daq.measure.air import OFF_BELOW, ON_ABOVE
from daq.measure.emptied import EmptiedLine
from daq.measure.taps import LONGEST_S
from daq.measure.trailing import Switch
from daq.records import Bools, Fault, Floats, Instrument, Pressures, Tap
from daq.units import both

FALLEN = 0.05
"""Of the set point: five points of loss."""
STAYS_S = LONGEST_S + 0.2
BACK_S = 0.5


class CrankMonitor:
    """Compares each row with the highest stable pressure so far; a tap, a lost supply, a vented line or a new segment
    asks for a new one. A line that emptied is told too, if its air is still on."""

    def __init__(self, instrument: Instrument) -> None:
        self._set_point_pa = instrument.set_point_pa
        self._emptied = EmptiedLine(instrument)
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._stable_pa = -np.inf
        self._switch, self._empty = Switch(STAYS_S, BACK_S), Switch(0.0, BACK_S)
        self._emptied.begin()

    def feed(self, pressures: Pressures, held: Bools, stable: Bools, taps: Sequence[Tap]) -> list[Fault]:
        """Faults among these rows; `taps` are those that ended among them."""
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        cylinder = pressures.cylinder_gauge_pa
        expected = self._expected(held, pressures, stable, taps)
        fallen = held & (expected - cylinder > FALLEN * self._set_point_pa)
        on, changes = self._switch.feed(pressures.t_s, fallen, ~fallen)
        faults = [self._fault(pressures, expected, row, bool(on[row])) for row in changes.tolist()]
        faults += self._run_out(pressures, held, stable)
        return sorted(faults, key=lambda fault: fault.t_s)

    def _run_out(self, pressures: Pressures, held: Bools, stable: Bools) -> list[Fault]:
        seen = self._emptied.feed(pressures, held, stable)
        if not seen and self._empty.resting:
            return []
        came = np.zeros(len(held), bool)
        came[list(seen)] = True
        over = ~held | (pressures.cylinder_gauge_pa > ON_ABOVE * self._set_point_pa)
        on, changes = self._empty.feed(pressures.t_s, came, over)
        return [self._air_runs_out(pressures, row, seen.get(row, "") if on[row] else "") for row in changes.tolist()]

    def _air_runs_out(self, pressures: Pressures, row: int, seen: str) -> Fault:
        """Over with an empty `seen`."""
        t_s = float(pressures.t_s[row])
        if not seen:
            now_pa = float(pressures.cylinder_gauge_pa[row])
            back = now_pa > ON_ABOVE * self._set_point_pa
            seen = f"The cylinder holds {both(now_pa)} again." if back else "The supply is off."
            return Fault(pressures.segment, t_s, "crank-moved", seen, "", True)
        todo = "Shut the air off before you touch anything: the crank rolled off its top, or the hose came off."
        return Fault(pressures.segment, t_s, "crank-moved", seen, todo)

    def _expected(self, held: Bools, pressures: Pressures, stable: Bools, taps: Sequence[Tap]) -> Floats:
        """For each row the highest stable cylinder pressure since the last tap, vent or lost supply; NaN without one.

        The highest, because what fell and is stable again at its new level has fallen all the same.
        """
        t_s, cylinder = pressures.t_s, pressures.cylinder_gauge_pa
        forget = ~held | (cylinder < OFF_BELOW * self._set_point_pa)
        forget[np.searchsorted(t_s, [tap.t_s for tap in taps])] = True
        expected, start = np.empty_like(cylinder), 0
        seen = np.where(stable & ~forget, cylinder, -np.inf)
        turns = np.flatnonzero(np.diff(forget.astype(np.int8), prepend=0)).tolist() if forget.any() else []
        for stop in [*turns, len(t_s)]:
            if stop > start:
                highest = np.fmax.accumulate(seen[start:stop])
                kept = -np.inf if forget[start] else np.fmax(highest, self._stable_pa)
                expected[start:stop] = kept
                self._stable_pa = float(expected[stop - 1])
                start = stop
        return np.where(np.isfinite(expected), expected, np.nan)

    def _fault(self, pressures: Pressures, expected: Floats, row: int, came: bool) -> Fault:
        now_pa = float(pressures.cylinder_gauge_pa[row])
        t_s = float(pressures.t_s[row])
        if not came:
            vented = now_pa < OFF_BELOW * self._set_point_pa
            seen = "The line was vented." if vented else f"The cylinder holds {both(now_pa)} again."
            return Fault(pressures.segment, t_s, "crank-moved", seen, "", True)
        seen = (
            f"The cylinder fell from {both(float(expected[row]))} to {both(now_pa)} and stays there; the supply holds."
        )
        todo = "Vent the air before you touch anything: the crank has moved, or the hose leaks."
        return Fault(pressures.segment, t_s, "crank-moved", seen, todo)
