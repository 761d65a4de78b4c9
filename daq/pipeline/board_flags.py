"""The flags that a board sets on its samples."""

from __future__ import annotations

import numpy as np

from daq.records import BoardFault, Event, Ticks
from daq.wire import Flag


class BoardFlags:
    """Tells when a warning flag of the board comes up; it is told again only after it was down."""

    WARNINGS = (
        (Flag.OVERRUN, "sampling-overrun", "The board could not convert in time; lower the rate."),
        (Flag.TRANSMIT_DROP, "transmit-drop", "The board dropped lines; lower the rate or raise the baud rate."),
        (Flag.REFERENCE_LOW, "reference-low", "The sensor supply sags; check the USB cable and hub."),
        (Flag.REFERENCE_HIGH, "reference-high", "The sensor supply is too high; check the wiring of the reference."),
        (Flag.SATURATED, "saturated", "A channel reads the end of the scale; sensor open, shorted or over range."),
    )

    def __init__(self) -> None:
        self._up = 0

    def feed(self, ticks: Ticks) -> list[Event]:
        """One BoardFault for each flag that rises within these ticks."""
        if not ticks.flags.size:
            return []
        before, self._up = self._up, int(ticks.flags[-1])
        if not np.count_nonzero(ticks.flags):
            return []
        rising = ticks.flags & ~np.concatenate(([before], ticks.flags[:-1]))
        return [
            BoardFault(ticks.segment, float(ticks.t_s[row]), fault, text)
            for row in np.flatnonzero(rising)
            for flag, fault, text in self.WARNINGS
            if rising[row] & flag
        ]
