"""A transducer against a reference gauge: the line of a channel, and everything a certificate says of it.

Pressures are gauge, Pa, as the reference gauge showed them, in the order in which they were taken; volts are those at
the nominal sensor reference. Ref: IEC 61298-2 for hysteresis, repeatability and the lines (definitions from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from daq.calibrate.line import Fit, fit, leverage, terminal
from daq.errors import DataError
from daq.measure.uncertainty import rectangular
from daq.records import ChannelCalibration, Floats, Ints
from daq.units import PressureUnit

SAME_LEVEL = 0.03
"""References that lie closer than this part of the range are readings at one pressure."""
FEWEST_LEVELS = 3
LEAST_RANGE = 1 / 3
"""The points must reach over this part of the full scale."""
SCALE_OFF = 1.25
"""A sensitivity that is off its data sheet by more than this factor is a wrong unit or a wrong sensor."""
CONTRADICTS = 2.0
"""A point this many times the accuracy of the data sheet off the line of the others contradicts them."""
COMFORTABLE = 4.0
"""A reference gauge is good when the transducer is this much worse: common practice, value from memory."""
DRIFT_OF_FULL_SCALE = 0.002
"""What a year may do to a transducer before two calibrations tell it: common practice, no source."""
YEAR_S = 365.25 * 86400
LEAST_APART_S = 30 * 86400


@dataclass(frozen=True, slots=True)
class Course:
    """For each point: its pressure level counted from the lowest, whether it was reached rising, and its cycle."""

    level: Ints
    rising: tuple[bool, ...]
    cycle: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Drift:
    """The new line less the old one: at zero, of the span (relative), the most over the range, and the time between."""

    zero_pa: float
    span: float
    most_pa: float
    years: float


@dataclass(frozen=True, slots=True)
class ChannelResult:
    """`channel` is what measures from now on; the rest is what the points say of the transducer.

    Residuals are indicated - reference, Pa, one a point. `terminal_pa` and `best_line_pa` are the greatest deviations
    of the mean curve from the line through its ends and from the least-squares line.
    """

    channel: ChannelCalibration
    span_pa: float
    residual_pa: tuple[float, ...]
    rising: tuple[bool, ...]
    residual_sd_pa: float
    hysteresis_pa: float
    repeatability_pa: float | None
    best_line_pa: float
    terminal_pa: float
    terminal_zero_v: float
    terminal_pa_per_v: float
    drift: Drift | None = None


def course(reference_pa: Floats) -> Course:
    """How the points were run through. A point that did not move belongs to the step after it, the last to that before.

    A new cycle begins where the pressure turns upwards.
    """
    level = _levels(reference_pa)
    steps = np.sign(np.diff(level))
    rising: list[bool] = []
    for at in range(len(level)):
        before = steps[at - 1] if at else 0
        after = next((step for step in steps[at:] if step), 0)
        rising.append(bool((before or after or (1 if not rising or rising[-1] else -1)) > 0))
    turns = [at > 0 and up and not rising[at - 1] for at, up in enumerate(rising)]
    return Course(level, tuple(rising), tuple(int(n) for n in np.cumsum(turns)))


def _levels(reference_pa: Floats) -> Ints:
    order = np.argsort(reference_pa, kind="stable")
    apart = np.diff(reference_pa[order]) > SAME_LEVEL * np.ptp(reference_pa)
    level = np.empty(len(order), np.int64)
    level[order] = np.concatenate([[0], np.cumsum(apart)])
    return level


def calibrate_channel(
    name: str,
    reference_pa: Floats,
    volts: Floats,
    sheet: ChannelCalibration,
    u_reference_pa: float,
    made_s: float,
    previous: ChannelCalibration | None = None,
) -> ChannelResult:
    """The line of one channel. `u_reference_pa` is the standard uncertainty of the gauge at the end of the range.

    The gauge is taken as right when vented, so its error is one of span and is shared by both channels. DataError, and
    no line, for points or a gauge that cannot calibrate this transducer (`sheet` is its data sheet).
    """
    _refuse_gauge(name, u_reference_pa, sheet)
    how = course(reference_pa)
    _refuse_few(name, how)
    found = fit(reference_pa, volts)
    zero_v, v_per_pa = (float(c) for c in found.coefficients)
    _refuse_scale(name, v_per_pa * sheet.pa_per_v)
    _refuse_range(name, reference_pa, sheet)
    residual_pa = found.residuals / v_per_pa
    _refuse_contradiction(name, reference_pa, residual_pa, sheet)
    curve = _mean_curve(how, reference_pa, residual_pa)
    span_pa = float(np.ptp(curve[:, 0]))
    ends = terminal((curve[0, 0], curve[-1, 0]), (curve[0, 1], curve[-1, 1]), 0.0, (0.0, 0.0))
    off_ends = curve[:, 1] - (ends.coefficients[0] + ends.coefficients[1] * curve[:, 0])
    terminal_v_per_pa = v_per_pa * (1 + ends.coefficients[1])
    best_line_pa, hysteresis_pa = float(np.abs(curve[:, 1]).max()), _hysteresis(how, residual_pa)
    channel = _channel(found, sheet, u_reference_pa, reference_pa, made_s, hysteresis_pa, best_line_pa)
    drift = None if previous is None or not previous.made_s else compare(channel, previous)
    return ChannelResult(
        replace(channel, drift_pa_per_year=_yearly(drift, sheet)),
        span_pa,
        tuple(residual_pa.tolist()),
        how.rising,
        found.residual_sd / abs(v_per_pa),
        hysteresis_pa,
        _repeatability(how, residual_pa),
        best_line_pa,
        float(np.abs(off_ends).max()),
        zero_v + float(ends.coefficients[0]) * v_per_pa,
        1 / float(terminal_v_per_pa),
        drift,
    )


def _channel(
    found: Fit, sheet: ChannelCalibration, u_reference_pa: float, reference_pa: Floats, made_s: float,
    hysteresis_pa: float, nonlinearity_pa: float,
) -> ChannelCalibration:  # fmt: skip
    """Inverts volts = zero + slope * p: an error of the slope is one of span, an error of the zero is one of zero."""
    zero_v, v_per_pa = (float(c) for c in found.coefficients)
    u_zero_pa, u_fit_span = found.u(0) / abs(v_per_pa), found.u(1) / abs(v_per_pa)
    lowest_pa, highest_pa = float(reference_pa.min()), float(reference_pa.max())
    u_reference_span = u_reference_pa / highest_pa
    if lowest_pa > SAME_LEVEL * highest_pa:  # the gauge was never seen vented: its error may be one of zero as well
        u_zero_pa = math.hypot(u_zero_pa, u_reference_pa)
    u_span = math.hypot(u_fit_span, u_reference_span)
    shared = found.correlation * (found.u(0) / abs(v_per_pa)) * u_fit_span
    return replace(
        sheet,
        zero_v=zero_v,
        pa_per_v=1 / v_per_pa,
        u_zero_pa=u_zero_pa,
        u_span=u_span,
        zero_span_correlation=shared / (u_zero_pa * u_span) if u_zero_pa * u_span > 0 else 0.0,
        u_reference_span=u_reference_span,
        hysteresis_pa=hysteresis_pa,
        nonlinearity_pa=nonlinearity_pa,
        degrees_of_freedom=float(found.degrees_of_freedom),
        made_s=made_s,
    )


# ---- what the points say of the transducer


def _mean_curve(how: Course, reference_pa: Floats, residual_pa: Floats) -> Floats:
    """Mean reference and mean residual at each level, shape (levels, 2), from the lowest up."""
    levels = range(int(how.level.max()) + 1)
    return np.array([[reference_pa[how.level == n].mean(), residual_pa[how.level == n].mean()] for n in levels])


def _hysteresis(how: Course, residual_pa: Floats) -> float:
    """The greatest difference of falling and rising at one level within one cycle; 0 if it was never run down."""
    differences = [
        abs(_mean(residual_pa, how, level, cycle, True) - _mean(residual_pa, how, level, cycle, False))
        for level in range(int(how.level.max()) + 1)
        for cycle in range(max(how.cycle) + 1)
    ]
    return float(np.nanmax([*differences, 0.0]))


def _repeatability(how: Course, residual_pa: Floats) -> float | None:
    """The greatest difference between readings of one level and direction; None where nothing was repeated."""
    groups: dict[tuple[int, bool], list[float]] = {}
    for level, rising, residual in zip(how.level.tolist(), how.rising, residual_pa.tolist(), strict=True):
        groups.setdefault((level, rising), []).append(residual)
    repeated = [max(group) - min(group) for group in groups.values() if len(group) > 1]
    return max(repeated) if repeated else None


def _mean(residual_pa: Floats, how: Course, level: int, cycle: int, rising: bool) -> float:
    chosen = (how.level == level) & (np.array(how.cycle) == cycle) & (np.array(how.rising) == rising)
    return float(residual_pa[chosen].mean()) if chosen.any() else math.nan


# ---- beside the record before


def compare(new: ChannelCalibration, old: ChannelCalibration) -> Drift:
    """How the indication changed between two records: what `old` said of the same volts, less what `new` says."""
    zero_pa = (new.zero_v - old.zero_v) * old.pa_per_v
    span = old.pa_per_v / new.pa_per_v - 1
    most_pa = max(abs(zero_pa), abs(zero_pa + span * new.full_scale_pa))
    return Drift(zero_pa, span, most_pa, (new.made_s - old.made_s) / YEAR_S)


def _yearly(drift: Drift | None, sheet: ChannelCalibration) -> float:
    """Half-width of what a year may do: as seen between two records that are far enough apart, but not below half of
    what is usual; else what is usual."""
    usual_pa = DRIFT_OF_FULL_SCALE * sheet.full_scale_pa
    if drift is None or drift.years * YEAR_S < LEAST_APART_S:
        return usual_pa
    return max(drift.most_pa / drift.years, usual_pa / 2)


# ---- what cannot be


def _refuse_gauge(name: str, u_reference_pa: float, sheet: ChannelCalibration) -> None:
    u_sheet_pa = rectangular(sheet.accuracy_pa)
    if not 0 <= u_reference_pa < u_sheet_pa:
        raise DataError(
            f"The reference gauge is worse than the {name} transducer: calibrating by it would make readings worse.",
            "Take a gauge that is at least twice, better four times as good. The calibration in force stays.",
            f"standard uncertainty {u_reference_pa:.0f} Pa of the gauge, {u_sheet_pa:.0f} Pa of the data sheet",
        )


def ratio_to_gauge(u_reference_pa: float, sheet: ChannelCalibration) -> float:
    """How many times better the gauge is than the data sheet of the transducer; `COMFORTABLE` is wanted."""
    return rectangular(sheet.accuracy_pa) / u_reference_pa if u_reference_pa > 0 else math.inf


def _refuse_few(name: str, how: Course) -> None:
    levels = int(how.level.max()) + 1
    if levels < FEWEST_LEVELS:
        raise DataError(
            f"The {name} channel has points at {levels} pressures; a line takes two, and one more to judge it.",
            "Take at least five pressures, up and down again. The calibration in force stays.",
        )


def _refuse_range(name: str, reference_pa: Floats, sheet: ChannelCalibration) -> None:
    reach = float(np.ptp(reference_pa))
    if reach < LEAST_RANGE * sheet.full_scale_pa or reference_pa.max() > 1.1 * sheet.full_scale_pa:
        raise DataError(
            f"The points do not fit the range of the {name} transducer.",
            "Spread them from vented to near the set point, and check the unit of the reference column.",
            f"{reference_pa.min():.0f} to {reference_pa.max():.0f} Pa, full scale {sheet.full_scale_pa:.0f} Pa",
        )


def _refuse_scale(name: str, relative: float) -> None:
    """`relative` is the sensitivity found over that of the data sheet."""
    if 1 / SCALE_OFF < relative < SCALE_OFF:
        return
    raise DataError(
        f"The {name} transducer would have {relative:.3g} times the sensitivity of its data sheet.",
        "Check the units in the header of the points" + _mistaken_unit(relative) + ", the order of the columns, "
        "and full_scale and full_scale_v in the configuration. The calibration in force stays.",
    )


def _mistaken_unit(relative: float) -> str:
    """Which unit taken for which would explain it."""
    for written in PressureUnit:
        for real in PressureUnit:
            if written is not real and 1 / SCALE_OFF < relative * written.pa / real.pa < SCALE_OFF:
                return f" (they look like {real.value} under the name of {written.value})"
    return ""


def _refuse_contradiction(name: str, reference_pa: Floats, residual_pa: Floats, sheet: ChannelCalibration) -> None:
    deleted_pa = np.abs(residual_pa / (1 - leverage(reference_pa)))
    worst = int(deleted_pa.argmax())
    if deleted_pa[worst] > CONTRADICTS * sheet.accuracy_pa:
        raise DataError(
            f"Point {worst + 1} of the {name} channel contradicts the others.",
            "Take it again: was the gauge misread, or the pressure still moving? The calibration in force stays.",
            f"at {reference_pa[worst]:.0f} Pa it is {deleted_pa[worst]:.0f} Pa off the line of the others; "
            f"the data sheet allows {sheet.accuracy_pa:.0f} Pa",
        )
