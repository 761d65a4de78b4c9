"""When two pressures have settled: a robust filter, then an equivalence test on both slopes.

A value is stable when its slope is shown to be small, which is more than not being shown to be large: the test asks
`|slope| + t * se <= allowed`, so noise makes it wait and never lets it pass. The newest 0.75, 1.25 and 2 s are tried:
a clean line settles on the short one, a noisy or coarse one on the long one. Ref: equivalence testing by confidence
interval (Schuirmann 1987, from memory); Hampel identifier on the newest ticks (median and MAD).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.measure import uncertainty
from daq.measure.air import ON_ABOVE
from daq.measure.ticks import TICK_US
from daq.measure.trailing import Trailing, windows
from daq.records import Bools, Floats, Instrument, Ints, Pressures, Tap

WINDOW_ROWS = (15, 25, 40)
ENTER_PER_S, LEAVE_PER_S = 0.0015, 0.003
"""Slopes of either pressure that count as settled: to become, and to stay stable; parts of the set point a second.
The limit to enter was halved after random benches: one reading in twenty was told before its last tenth was over."""
MOVED = 0.003
"""A stable value is told again when the loss has moved by this much (0.3 points)."""
EPISODE_GAP_S = 0.5
_HAMPEL_ROWS = 15
_HAMPEL_LIMIT = 7 * 1.482602218505602  # times the MAD, which 15 ticks know to a quarter only: 3 or 5 cry wolf
_LEAST_OUTLIER = 0.001  # of the set point; a smaller step of one tick moves no slope
_MOST_OUTLIERS = 2
_CONFIDENCE = 0.975
TAIL_S = 0.4
"""A slope that is left at the end of a window goes on for about this long: what is left of a fill or of the warming of
its air dies away within 0.15 to 1.5 s. Half of it, and more, is uncertainty."""
_TAIL_U = 0.7  # of the part carried on
_LOOSEST = 2.5  # a window may last this many times its length on a full grid


@dataclass(frozen=True, slots=True)
class StableWindow:
    """Both pressures at the end of `n` ticks that end at `t_s`, and `u_` their standard deviations, with the noise as
    found (autocorrelation included) but not below what the resolution allows to see.

    Where a line through the ticks still shows a slope, the pressures are those of its end, and the cylinder's is
    carried on by what it will still rise or fall (see TAIL_S); `u_settling_pa` is what is not known of that.
    """

    segment: int
    t_s: float
    window_s: float
    n: int
    supply_gauge_pa: float
    cylinder_gauge_pa: float
    u_supply_pa: float
    u_cylinder_pa: float
    u_settling_pa: float = 0.0


class StabilityMonitor:
    """Tells for each row whether the pressures have settled, and once for each stable episode what they are.

    Needs the supply held and the cylinder side under pressure. `resolution_pa` is one count of the converter.
    """

    def __init__(self, instrument: Instrument, resolution_pa: float = 0.0) -> None:
        self._set_point_pa = instrument.set_point_pa
        self._floor_pa = resolution_pa / 12**0.5
        self._least_outlier_pa = max(_LEAST_OUTLIER * instrument.set_point_pa, 2 * resolution_pa)
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._raw = Trailing(2, _HAMPEL_ROWS)
        self._clean = Trailing(4, max(WINDOW_ROWS))
        self._stable = False
        self._last_stable_s = -np.inf
        self._told = np.nan
        self._tap_s = -np.inf

    def feed(self, pressures: Pressures, held: Bools, taps: Sequence[Tap] = ()) -> tuple[Bools, list[StableWindow]]:
        """Stable or not for each row, shape (n,), and the windows to tell of. A new segment begins not stable.

        `taps` are those that ended among these rows: what follows one is told anew, from windows that begin after it.
        """
        if pressures.segment != self._segment:
            self._begin(pressures.segment)
        raw = self._raw.feed(pressures.supply_gauge_pa, pressures.cylinder_gauge_pa)
        clean, outlier = hampel(raw, _HAMPEL_ROWS, self._least_outlier_pa)
        outliers = outlier.any(axis=0)
        supply, cylinder = clean
        joined = self._clean.feed(pressures.t_s, supply, cylinder, np.where(outliers, 1.0, 0.0))
        candidate = held & ~outliers & (pressures.cylinder_gauge_pa > ON_ABOVE * self._set_point_pa)
        stable = np.zeros(len(held), np.bool_)
        (rows,) = candidate.nonzero()
        told: list[StableWindow] = []
        if len(rows):
            since_s = self._after_taps(pressures.t_s[rows], taps)
            fit = best_fit(
                joined, rows + max(WINDOW_ROWS) - 1, since_s, self._floor_pa, ENTER_PER_S * self._set_point_pa
            )
            stable[rows], told = self._follow(pressures, rows, fit)
        if taps:
            self._tap_s = taps[-1].t_s
        return stable, told

    def _after_taps(self, t_s: Floats, taps: Sequence[Tap]) -> Floats:
        """For each time the end of the last tap before it."""
        ends_s = np.array([self._tap_s, *(tap.t_s for tap in taps)])
        return ends_s[np.searchsorted(ends_s, t_s, side="right") - 1]

    def _follow(self, pressures: Pressures, rows: Ints, fit: Fit) -> tuple[list[bool], list[StableWindow]]:
        """The state at each candidate row, with hysteresis of the slope limit, and what is news among them."""
        told, states = [], []
        ratio = fit.mean_pa[1] / fit.mean_pa[0]
        columns = (pressures.t_s[rows], fit.slope_limit_pa_s / self._set_point_pa, ratio)
        steps = zip(*(column.tolist() for column in columns), strict=True)
        for i, (t_s, slope, value) in enumerate(steps):
            self._stable = slope <= (LEAVE_PER_S if self._stable else ENTER_PER_S)
            states.append(self._stable)
            if self._stable:
                if t_s - self._last_stable_s > EPISODE_GAP_S or not abs(value - self._told) <= MOVED:
                    told.append(fit.window(i, pressures.segment, t_s))
                    self._told = value
                self._last_stable_s = t_s
        return states, told


@dataclass(frozen=True, slots=True)
class Fit:
    """The best of the windows that end at each of m rows; first axis of the two-row arrays: supply, cylinder.

    `slope_limit_pa_s` is the upper confidence limit of the steeper of both slopes.
    """

    slope_limit_pa_s: Floats
    n: Floats
    window_s: Floats
    mean_pa: Floats
    u_mean_pa: Floats
    slope_pa_s: Floats
    u_slope_pa_s: Floats

    def window(self, i: int, segment: int, t_s: float) -> StableWindow:
        """What the window that ends at row i says of its end, and of what comes after."""
        window_s, half_s = float(self.window_s[i]), 0.5 * float(self.window_s[i])
        means, u_means = self.mean_pa[:, i].tolist(), self.u_mean_pa[:, i].tolist()
        u_slopes = self.u_slope_pa_s[:, i].tolist()
        slopes = [_shown(*pair) for pair in zip(self.slope_pa_s[:, i].tolist(), u_slopes, strict=True)]
        supply_pa, cylinder_pa = means[0] + half_s * slopes[0], means[1] + half_s * slopes[1]
        u_ends = [math.hypot(u_means[k], half_s * u_slopes[k] if slopes[k] else 0.0) for k in (0, 1)]
        tail_pa = TAIL_S * (slopes[1] - slopes[0] * cylinder_pa / supply_pa)
        u_settling_pa = math.hypot(_TAIL_U * tail_pa, TAIL_S * u_slopes[1])
        return StableWindow(
            segment,
            t_s,
            window_s,
            int(self.n[i]),
            supply_pa,
            cylinder_pa + tail_pa,
            u_ends[0],
            u_ends[1],
            u_settling_pa,
        )


def _shown(slope: float, u_slope: float) -> float:
    """As much of a slope as its own uncertainty does not explain."""
    return math.copysign(max(abs(slope) - u_slope, 0.0), slope)


def hampel(joined: Floats, rows: int, least: float) -> tuple[Floats, Bools]:
    """Each new column against the `rows` that end with it: outliers replaced by the median, and where they were.

    `joined` has shape (channels, rows - 1 + n), both results (channels, n). What is off the median by less than
    `least` is no outlier: the MAD of a quantised flat signal is zero.
    """
    ends = np.arange(rows - 1, joined.shape[1])
    window = windows(joined, ends, rows)
    window.sort(axis=-1)
    newest, median = joined[:, rows - 1 :], window[..., rows // 2]
    deviations = np.abs(window - median[..., None])
    deviations.sort(axis=-1)
    outlier = np.abs(newest - median) > np.maximum(_HAMPEL_LIMIT * deviations[..., rows // 2], least)
    return np.where(outlier, median, newest), outlier


def best_fit(joined: Floats, ends: Ints, since_s: Floats, floor_pa: float, enough_pa_s: float) -> Fit:
    """Straight lines through the windows that end at columns `ends` and begin after `since_s`: for each end the
    shortest window whose limit is within `enough_pa_s`, or else the best.

    `joined` has rows of time, both pressures, and 1 where an outlier was taken out: two in a window are disturbances,
    more are something that happened. A long window is not believed where a shorter one shows a movement: its limit is
    not below their lower limits.
    """
    best = np.full((11, len(ends)), np.nan)
    best[0], shown = np.inf, np.full(len(ends), -np.inf)
    left = np.arange(len(ends))
    for rows in WINDOW_ROWS:
        window = windows(joined, ends[left], rows)
        begin_s, span_s = window[0, :, 0], window[0, :, -1] - window[0, :, 0]
        slope, se, mean, u_mean = line_fit(window[0], window[1:3], floor_pa)
        steepness, margin = np.abs(slope), uncertainty.student_t(_CONFIDENCE, rows - 2) * se
        limit = np.maximum((steepness + margin).max(axis=0), shown)
        shown = np.fmax(shown, (steepness - margin).max(axis=0))
        whole = (span_s <= _LOOSEST * (rows - 1) * TICK_US * 1e-6) & (window[3].sum(axis=-1) <= _MOST_OUTLIERS)
        better = (limit < best[0, left]) & whole & (begin_s >= since_s[left])
        found = np.empty((11, len(left)))
        found[0], found[1], found[2], found[3:5], found[5:7] = limit, rows, span_s, mean, u_mean
        found[7:9], found[9:11] = slope, se
        best[:, left[better]] = found[:, better]
        unsure = best[0, left] > enough_pa_s
        left, shown = left[unsure], shown[unsure]
        if not len(left):
            break
    return Fit(best[0], best[1], best[2], best[3:5], best[5:7], best[7:9], best[9:11])


def line_fit(t_s: Floats, values: Floats, floor: float = 0.0) -> tuple[Floats, Floats, Floats, Floats]:
    """Least squares lines over the last axis: slope, its standard error, mean, its standard error.

    The residual variance is widened for lag-1 autocorrelation, by (1 + r) / (1 - r) with the small-sample bias of r
    taken off, and is not below `floor`**2: neither an oversampled nor a quantised signal looks better than it is.
    Noise below the floor does not carry the value across a count, so the mean is no better than the floor then.
    Ref: JCGM 100 H.3 for the line; the widening is that of a first-order autoregression (common practice).
    """
    rows = t_s.shape[-1]
    t = t_s - t_s.sum(axis=-1, keepdims=True) / rows
    mean = values.sum(axis=-1) / rows
    centred = values - mean[..., None]
    sxx = (t * t).sum(axis=-1)
    slope = (t * centred).sum(axis=-1) / sxx
    residual = centred - slope[..., None] * t
    square = (residual * residual).sum(axis=-1)
    lagged = (residual[..., 1:] * residual[..., :-1]).sum(axis=-1)
    r = np.minimum(np.maximum(lagged / np.maximum(square, 1e-300) + 2 / rows, 0.0), 0.8)
    found, least = square / (rows - 2) * ((1 + r) / (1 - r)), floor * floor
    u_mean = np.sqrt(np.where(found < least, least, found / rows))
    return slope, np.sqrt(np.maximum(found, least) / sxx), mean, u_mean
