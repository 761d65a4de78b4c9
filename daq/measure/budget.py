"""The budget of a reading: what each known error does to the loss, line by line, and what they come to."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from daq.measure import uncertainty
from daq.measure.known_errors import Error, Noise, errors
from daq.records import Calibration, Contribution, Instrument, StableReading

SETTLING = "settling"
WINDOW_ALONE = ("noise", "resolution", SETTLING)
"""Last words of the components that are different in each window."""
WITHIN_LIMITS = ("class", "bow", "drift", "hysteresis", "nonlinearity", "between the two", "resolution", "curve")
"""Last words of the components that are known by limits alone: rectangular. Ref: JCGM 100, 4.3.7."""


def budget(
    supply_pa: float,
    cylinder_pa: float,
    noise: Noise,
    resolution_pa: float,
    calibration: Calibration,
    instrument: Instrument,
    at_s: float,
) -> tuple[Contribution, ...]:
    """The uncertainty of the loss at the supply as measured, line by line; arguments as `errors`.

    It holds for the loss at the set point too, times the factor that carries it there; what the barometer does to
    that factor is a line of its own. Restrictor and gas temperature stand in it for the converted quantities, with
    sensitivity 0. Squares of the contributions add up to that of the standard uncertainty.
    """
    found = errors(supply_pa, cylinder_pa, noise, resolution_pa, calibration, instrument, at_s)
    return contributions(found, supply_pa, cylinder_pa, instrument)


def contributions(
    found: Iterable[Error], supply_pa: float, cylinder_pa: float, instrument: Instrument
) -> tuple[Contribution, ...]:
    """What each error does to the loss."""
    c1, c2 = uncertainty.loss_sensitivities(supply_pa, cylinder_pa)
    set_abs, supply_abs = instrument.set_point_pa + instrument.atmosphere_pa, supply_pa + instrument.atmosphere_pa
    carry = 100 * (1 - cylinder_pa / supply_pa) * (1 / set_abs - 1 / supply_abs)  # d ln(factor) / d barometer, times L

    def line(error: Error) -> Contribution:
        effect = c1 * error.supply + c2 * error.cylinder + carry * error.atmosphere
        return Contribution(error.component, error.u, error.unit, effect / error.u, error.degrees)

    return tuple(line(error) for error in found)


@dataclass(frozen=True, slots=True)
class Interval:
    """Standard uncertainty of the loss, points, its degrees of freedom, and the factor to the half-width of 95 %."""

    u_pct: float
    degrees: float
    factor: float

    @property
    def half_width_pct(self) -> float:
        return self.factor * self.u_pct


def interval(lines: Sequence[Contribution]) -> Interval:
    """What the lines of a budget come to."""
    u_pct, degrees = combined(lines), uncertainty.effective_degrees(lines)
    limited = [abs(line.contribution_pct) / u_pct for line in lines if u_pct and line.component.endswith(WITHIN_LIMITS)]
    return Interval(u_pct, degrees, uncertainty.coverage_factor(degrees, limited))


def combined(lines: Iterable[Contribution]) -> float:
    """Standard uncertainty of the loss from lines of a budget, percent."""
    return math.sqrt(math.fsum(line.contribution_pct**2 for line in lines))


def difference(before: StableReading, after: StableReading) -> tuple[float, float]:
    """Change of the loss at the set point, after less before, and its standard uncertainty; percent.

    What is of the window alone is independent. All else is the same error twice and counts by the difference of its
    two effects, which is nearly nothing for a small change; if another calibration was in force, nothing is common.
    """
    one, other = ({line.component: line.contribution_pct for line in reading.budget} for reading in (before, after))
    common = before.calibration_id == after.calibration_id
    squares = []
    for component in one | other:
        a, b = one.get(component, 0.0), other.get(component, 0.0)
        alone = not common or component.endswith(WINDOW_ALONE)
        squares.append(a * a + b * b if alone else (a - b) ** 2)
    return after.loss_at_set_pct - before.loss_at_set_pct, math.sqrt(math.fsum(squares))
