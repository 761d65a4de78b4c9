"""The course of one attempt at a cylinder: both pressures, the loss, when it was captured and when it was tapped."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from daq.records import Floats
from daq.report.engine import wording as words
from daq.report.engine.document import Chart
from daq.report.engine.drawing import COOL, FAINT, INK, SOFT, WARM, circle, diamond, line, path, svg, tap, text
from daq.report.plot import Axis, axis
from daq.report.traces import Trace
from daq.units import PressureUnit

WIDTH, HEIGHT = 352.0, 232.0
LEFT, RIGHT = 40.0, 10.0
PRESSURES, LOSSES = (32.0, 130.0), (146.0, 200.0)
"""Top and bottom of the two panels."""


@dataclass(frozen=True, slots=True)
class _Panel:
    top: float
    bottom: float
    along: Axis
    up: Axis

    def x(self, t_s: float) -> float:
        return LEFT + (t_s - self.along.low) / (self.along.high - self.along.low) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        held = min(max(value, self.up.low), self.up.high)
        return self.bottom - (held - self.up.low) / (self.up.high - self.up.low) * (self.bottom - self.top)

    def places(self, t_s: Floats, values: Floats) -> list[tuple[float, float]]:
        kept = np.isfinite(values)
        pairs = zip(t_s[kept].tolist(), values[kept].tolist(), strict=True)
        return [(self.x(t), self.y(value)) for t, value in pairs]


def trace_chart(trace: Trace, unit: PressureUnit) -> Chart:
    said = words.TRACE_SAID.format(cylinder=trace.cylinder)
    along = axis([0.0, float(trace.t_s[-1])])
    supply, cylinder = trace.supply_pa / unit.pa, trace.cylinder_pa / unit.pa
    pressures = _Panel(*PRESSURES, along, axis([0.0, float(max(supply.max(), cylinder.max()))]))
    losses = _Panel(*LOSSES, along, axis([0.0, _most_loss(trace)]))
    attempt = words.ATTEMPT.format(n=trace.attempt) if trace.attempt > 1 else ""
    parts = [
        text(2, 13, f"{words.CYLINDER_N.format(n=trace.cylinder)}{attempt}", "start", INK, 12, bold=True),
        *_grid(pressures, unit.value),
        *_grid(losses, words.LOSS_UNIT),
        *_times(losses),
        path(pressures.places(trace.t_s, supply), INK, 1.2, "4 2"),
        path(pressures.places(trace.t_s, cylinder), COOL, 1.8),
        path(losses.places(trace.t_s, trace.loss_pct), WARM, 1.4),
        *(tap(pressures.x(t_s), PRESSURES[0] - 2) for t_s in trace.taps_s),
        *_captures(trace, losses),
    ]
    return Chart(svg(WIDTH, HEIGHT, said, parts), said)


def _most_loss(trace: Trace) -> float:
    """Room for the captured losses twice; a filling cylinder goes far above, and is cut off there."""
    captured = [_loss_at(trace, t_s) for t_s in (trace.as_found_s, trace.after_tap_s) if t_s is not None]
    return min(100.0, max(5.0, 2 * max(captured)))


def _loss_at(trace: Trace, t_s: float) -> float:
    known = np.isfinite(trace.loss_pct)
    return float(np.interp(t_s, trace.t_s[known], trace.loss_pct[known])) if known.any() else 0.0


def _grid(panel: _Panel, unit: str) -> Iterator[str]:
    few = panel.up.ticks if panel.bottom - panel.top > 80 else panel.up.ticks[::2]
    for value in few:
        yield line(LEFT, panel.y(value), WIDTH - RIGHT, panel.y(value), FAINT, 0.8)
        yield text(LEFT - 5, panel.y(value) + 3.5, f"{value:g}", "end", SOFT, 9.5)
    yield line(LEFT, panel.bottom, WIDTH - RIGHT, panel.bottom, SOFT, 1)
    yield text(9, (panel.top + panel.bottom) / 2, unit, "middle", SOFT, 9.5, upright=True)


def _times(panel: _Panel) -> Iterator[str]:
    for t_s in panel.along.ticks:
        yield line(panel.x(t_s), panel.bottom, panel.x(t_s), panel.bottom + 4, SOFT)
        yield text(panel.x(t_s), panel.bottom + 14, panel.along.label(t_s), "middle", SOFT, 9.5)
    yield text(WIDTH - RIGHT, panel.bottom + 27, words.SECONDS, "end", SOFT, 9.5)


def _captures(trace: Trace, panel: _Panel) -> Iterator[str]:
    """A line through both panels where a reading was captured, with its mark on the loss."""
    for t_s, after in ((trace.as_found_s, False), (trace.after_tap_s, True)):
        if t_s is None:
            continue
        x, y = panel.x(t_s), panel.y(_loss_at(trace, t_s))
        yield line(x, PRESSURES[0], x, panel.bottom, SOFT, 0.9, "1.5 2.5")
        yield diamond(x, y, 4.5, COOL, COOL) if after else circle(x, y, 3.6, "#ffffff", INK)
