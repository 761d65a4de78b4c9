"""When two pressures have settled: a robust filter, then an equivalence test on what may still be left of a fill.

Of a fill the end is left, which dies away with a time constant that is not known, but not above that of the creep of
warm air (creep.py). So `b exp(-t / longest)` is fitted to the newest ticks: if the true time constant is shorter, b is
too large. A value is stable when b is shown to be small, which is more than not being shown to be large: the test asks
`|b| + t * se <= allowed`, so noise makes it wait and never lets it pass. It is asked of the cylinder's pressure and of
its ratio to the supply's, and in the same way of the slope of the supply. The newest 0.5, 0.7, 1, 1.4, 2 and 3.2 s
are tried: a clean line settles on the short one, a noisy or coarse one on the long one. Ref: equivalence testing by
confidence interval (Schuirmann 1987, from memory); Hampel identifier on the newest ticks (median and MAD).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.measure import uncertainty
from daq.measure.air import ON_ABOVE
from daq.measure.creep import CreepMonitor
from daq.measure.ticks import TICK_US
from daq.measure.trailing import Trailing, windows
from daq.records import Bools, Floats, Instrument, Ints, Pressures, Tap

WINDOW_ROWS = (10, 14, 20, 28, 40, 64)
LEFT = 0.0011
"""Part of the set point that may be left to settle by the longest time constant, to become stable. Of 200 cc that give
0.2 W/K to the walls 0.0012 would leave 0.1 points, and of all others less; the rest is for what noise hides."""
LEFT_MORE, LEAST_LOSS = 0.004, 0.008
"""Where little leaks, the slow part of what is left is small, and the fit, which takes all of it for slow, is too large
by LEFT_MORE over the loss: at most by half as much again, since a small loss is not known well. Both figures bound what
fills of 25 to 220 cc with 0.2 to 6 W/K leave, by the equations of fill_model."""
SUPPLY_PER_S = 0.003
"""Slope of the supply that counts as settled, parts of the set point a second."""
LEAVE = 2.0
"""A stable value stays so up to this many times both limits."""
MOVED = 0.003
"""A stable value is told again when the loss has moved by this much (0.3 points)."""
EPISODE_GAP_S = 0.5
_HAMPEL_ROWS = 15
_HAMPEL_LIMIT = 7 * 1.482602218505602  # times the MAD, which 15 ticks know to a quarter only: 3 or 5 cry wolf
_LEAST_OUTLIER = 0.001  # of the set point; a smaller step of one tick moves no slope
_MOST_OUTLIERS = 2
_CONFIDENCE = 0.95
_SURELY = 2.0  # margins of confidence, so that one window in many that are tried is not against the others by chance
_STEEPEST = 1.5  # time constants in a window: beyond, its first ticks would say all
CARRIED = 0.4
"""Of what may be left at most so much is added to the value; as much again, or nothing, may be true."""
_CARRIED_U = 0.25
_LOOSEST = 2.5  # a window may last this many times its length on a full grid


@dataclass(frozen=True, slots=True)
class StableWindow:
    """Both pressures at the end of `n` ticks that end at `t_s`, and `u_` their standard deviations, with the noise as
    found (autocorrelation included) but not below what the resolution allows to see.

    Where the ticks still show a movement, the pressures are those at the end of it, and the cylinder's is carried on by
    what it will still rise or fall (see CARRIED); `u_settling_pa` is what is not known of that.
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
        self._instrument, self._set_point_pa = instrument, instrument.set_point_pa
        self._floor_pa = resolution_pa / 12**0.5
        self._least_outlier_pa = max(_LEAST_OUTLIER * instrument.set_point_pa, 2 * resolution_pa)
        self._begin(-1)

    def _begin(self, segment: int) -> None:
        self._segment = segment
        self._raw = Trailing(2, _HAMPEL_ROWS)
        self._clean = Trailing(5, max(WINDOW_ROWS))
        self._creep = CreepMonitor(self._instrument)
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
        ratio = cylinder / np.where(supply > 0, supply, np.nan) * self._set_point_pa
        joined = self._clean.feed(pressures.t_s, supply, cylinder, ratio, np.where(outliers, 1.0, 0.0))
        creep_s = self._creep.feed(pressures)
        candidate = held & ~outliers & (pressures.cylinder_gauge_pa > ON_ABOVE * self._set_point_pa)
        stable = np.zeros(len(held), np.bool_)
        (rows,) = candidate.nonzero()
        told: list[StableWindow] = []
        if len(rows):
            ends, since_s = rows + max(WINDOW_ROWS) - 1, self._after_taps(pressures.t_s[rows], taps)
            fit = best_fit(joined, ends, since_s, creep_s[rows], self._floor_pa, self._set_point_pa)
            stable[rows], told = self._follow(pressures, rows, since_s, fit)
        if taps:
            self._tap_s = taps[-1].t_s
        return stable, told

    def _after_taps(self, t_s: Floats, taps: Sequence[Tap]) -> Floats:
        """For each time the end of the last tap before it."""
        ends_s = np.array([self._tap_s, *(tap.t_s for tap in taps)])
        return ends_s[np.searchsorted(ends_s, t_s, side="right") - 1]

    def _follow(
        self, pressures: Pressures, rows: Ints, since_s: Floats, fit: Fit
    ) -> tuple[list[bool], list[StableWindow]]:
        """The state at each candidate row, with hysteresis of the limits, and what is news among them."""
        told, states = [], []
        ratio = fit.mean_pa[1] / fit.mean_pa[0]
        columns = (pressures.t_s[rows], since_s, fit.excess, ratio)
        steps = zip(*(column.tolist() for column in columns), strict=True)
        for i, (t_s, tap_s, excess, value) in enumerate(steps):
            self._stable = excess <= (LEAVE if self._stable else 1.0)
            states.append(self._stable)
            if self._stable:
                anew = self._last_stable_s < max(t_s - EPISODE_GAP_S, tap_s)
                if anew or not abs(value - self._told) <= MOVED:
                    told.append(fit.window(i, pressures.segment, t_s))
                    self._told = value
                self._last_stable_s = t_s
        return states, told


@dataclass(frozen=True, slots=True)
class Fit:
    """The best of the windows that end at each of m rows; first axis of the two-row arrays: supply, cylinder.

    `excess` is the worst of the upper confidence limits, in parts of what is allowed. `left_pa` is what is left at the
    end of the window with the longest time constant, of the cylinder and of its ratio to the supply (times the set
    point), below zero while it rises. `steep` is how much more it was on average over the window.
    """

    excess: Floats
    n: Floats
    window_s: Floats
    mean_pa: Floats
    u_mean_pa: Floats
    slope_pa_s: Floats
    u_slope_pa_s: Floats
    left_pa: Floats
    u_left_pa: Floats
    steep: Floats

    def window(self, i: int, segment: int, t_s: float) -> StableWindow:
        """What the window that ends at row i says of its end, and of what comes after."""
        window_s, lever = float(self.window_s[i]), (0.5 * float(self.window_s[i]), -float(self.steep[i]))
        means, u_means = self.mean_pa[:, i].tolist(), self.u_mean_pa[:, i].tolist()
        left, u_left = self.left_pa[:, i].tolist(), self.u_left_pa[:, i].tolist()
        moves, u_moves = (float(self.slope_pa_s[i]), left[0]), (float(self.u_slope_pa_s[i]), u_left[0])
        shown = [_shown(*pair) for pair in zip(moves, u_moves, strict=True)]
        ends = [means[k] + lever[k] * shown[k] for k in (0, 1)]
        u_ends = [math.hypot(u_means[k], lever[k] * u_moves[k] if shown[k] else 0.0) for k in (0, 1)]
        rest_pa = _shown(left[1], u_left[1])
        u_settling_pa = math.hypot(_CARRIED_U * rest_pa, CARRIED * u_left[1])
        return StableWindow(
            segment,
            t_s,
            window_s,
            int(self.n[i]),
            ends[0],
            ends[1] - CARRIED * rest_pa,
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


def best_fit(joined: Floats, ends: Ints, since_s: Floats, creep_s: Floats, floor_pa: float, set_point_pa: float) -> Fit:
    """Fits to the windows that end at columns `ends` and begin after `since_s`: for each end the shortest window that
    is within what is allowed, or else the best, where none is surely beyond `LEAVE`. `creep_s` is the longest time
    constant at each end.

    `joined` has rows of time, both pressures, their ratio times the set point, and 1 where an outlier was taken out:
    two in a window are disturbances, more are something that happened. A long window is not believed where a shorter
    one surely shows a movement: its limit is not below their lower limits.
    """
    best = np.full((14, len(ends)), np.nan)
    best[0], shown = np.inf, np.full(len(ends), -np.inf)
    left = np.arange(len(ends))
    may_be_left = LEFT * (1.0 + LEFT_MORE / np.maximum(1.0 - joined[3, ends] / set_point_pa, LEAST_LOSS))
    allowed = np.stack((np.full(len(ends), SUPPLY_PER_S), may_be_left, may_be_left)) * set_point_pa
    for rows in WINDOW_ROWS:
        late = joined[0, ends[left] - (rows - 1)] >= since_s[left]  # a longer window begins sooner still
        left, shown = left[late], shown[late]
        if not len(left):
            break
        window = windows(joined, ends[left], rows)
        found, size, margin = _fits(window, creep_s[left], floor_pa)
        limit = np.maximum(((size + margin) / allowed[:, left]).max(axis=0), shown)
        shown = np.fmax(shown, ((size - _SURELY * margin) / allowed[:, left]).max(axis=0))
        whole = (found[2] <= _LOOSEST * (rows - 1) * TICK_US * 1e-6) & (window[4].sum(axis=-1) <= _MOST_OUTLIERS)
        better = (limit < best[0, left]) & whole
        found[0] = limit
        best[:, left[better]] = found[:, better]
        unsure = (best[0, left] > 1.0) & (shown <= LEAVE)
        left, shown = left[unsure], shown[unsure]
    return Fit(best[0], best[1], best[2], best[3:5], best[5:7], best[7], best[8], best[9:11], best[11:13], best[13])


def _fits(window: Floats, creep_s: Floats, floor_pa: float) -> tuple[Floats, Floats, Floats]:
    """One window of each end: the columns of `Fit` (the first is not set), and the three that are tested: slope of the
    supply, what is left of cylinder and ratio; their sizes and the margins of confidence."""
    t_s, rows = window[0], window.shape[-1]
    span_s = t_s[:, -1] - t_s[:, 0]
    longest_s = np.maximum(creep_s, span_s / _STEEPEST)
    decay = np.exp((t_s[:, -1:] - t_s) / longest_s[:, None])
    slope, u_slope, mean, u_mean = line_fit(np.stack((t_s, decay, decay)), window[1:4], floor_pa)
    found = np.empty((14, len(span_s)))
    found[1], found[2], found[13] = rows, span_s, decay.sum(axis=-1) / rows - 1.0
    found[3:5], found[5:7], found[7], found[8] = mean[:2], u_mean[:2], slope[0], u_slope[0]
    found[9:11], found[11:13] = slope[1:], u_slope[1:]
    return found, np.abs(slope), uncertainty.student_t(_CONFIDENCE, rows - 2) * u_slope


def line_fit(x: Floats, values: Floats, floor: float = 0.0) -> tuple[Floats, Floats, Floats, Floats]:
    """Least squares lines over the last axis: slope, its standard error, mean, its standard error.

    The residual variance is widened for lag-1 autocorrelation, by (1 + r) / (1 - r) with the small-sample bias of r
    taken off, and is not below `floor`**2: neither an oversampled nor a quantised signal looks better than it is.
    Noise below the floor does not carry the value across a count, so the mean is no better than the floor then.
    Ref: JCGM 100 H.3 for the line; the widening is that of a first-order autoregression (common practice).
    """
    rows = x.shape[-1]
    off = x - x.sum(axis=-1, keepdims=True) / rows
    mean = values.sum(axis=-1) / rows
    centred = values - mean[..., None]
    sxx = (off * off).sum(axis=-1)
    slope = (off * centred).sum(axis=-1) / sxx
    residual = centred - slope[..., None] * off
    square = (residual * residual).sum(axis=-1)
    lagged = (residual[..., 1:] * residual[..., :-1]).sum(axis=-1)
    r = np.minimum(np.maximum(lagged / np.maximum(square, 1e-300) + 2 / rows, 0.0), 0.8)
    found, least = square / (rows - 2) * ((1 + r) / (1 - r)), floor * floor
    u_mean = np.sqrt(np.where(found < least, least, found / rows))
    return slope, np.sqrt(np.maximum(found, least) / sxx), mean, u_mean
