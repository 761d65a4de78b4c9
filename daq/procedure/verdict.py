"""What a reading means for a cylinder: a word, the chance that it is right, and what to do.

A limit is met or not with a probability, because a reading has an uncertainty; a word is given where that probability
is at least 95 %, which is the same as a guard band of 1.645 standard uncertainties on the side of the limit that the
word would be wrong on. Ref: JCGM 106, 7 and 8.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from daq.errors import DataError, UsageError
from daq.measure.limits import carried
from daq.records import Calibration, Instrument, Judged, Limit, StableReading
from daq.units import M_PER_INCH, PA_PER_PSI

SURE = 0.95
GUARD = 1.6448536269514722
"""Quantile of the normal distribution for a risk of 5 % on one side."""
_TWO_SIDED = 1.959963984540054
COLD_MORE = (3.0, 6.0)
"""Points that a cold engine reads more than a hot one; common practice, no source."""


class Verdict(StrEnum):
    SOUND = "sound"
    WATCH = "watch"
    INVESTIGATE = "investigate"
    TOO_CLOSE = "too close to call"


@dataclass(frozen=True, slots=True)
class Limits:
    """Up to `sound_to` a cylinder is sound, from `investigate_from` on it wants a diagnosis; equal: nothing between."""

    name: str
    sound_to: Limit
    investigate_from: Limit

    def carried(self, instrument: Instrument, calibration: Calibration) -> Limits:
        """As this instrument reads them."""
        sound, investigate = (
            carried(each, instrument, calibration) for each in (self.sound_to, self.investigate_from)
        )  # fmt: skip
        return Limits(self.name, sound, investigate)


@dataclass(frozen=True, slots=True)
class Judgement:
    """`probability` is that of the verdict, or of the likeliest word where it is too close to call.

    `limits` are as they were used, `cold` as it was told: None where nobody said.
    """

    verdict: Verdict
    probability: float
    limits: Limits
    cold: bool | None
    advice: str


def _limit(name: str, loss_pct: float, diameter_in: float, supply_psi: float, source: str) -> Limit:
    """The coefficient 0.8 is the convention of this project; no source gives one."""
    return Limit(name, loss_pct, diameter_in * M_PER_INCH, 0.8, supply_psi * PA_PER_PSI, source)


_CUSTOM = "common practice, no source; it names no restrictor, 0.040 in is assumed"
COMMON_PRACTICE = Limits(
    "common practice",
    _limit("fine up to", 10.0, 0.040, 100.0, _CUSTOM),
    _limit("wants a diagnosis from", 15.0, 0.040, 100.0, _CUSTOM),
)
_LARGE_BORE_M = 5.00 * M_PER_INCH


def ac_43_13_1b(bore_m: float) -> Limits:
    """25 % at 80 psi, behind 0.040 in, or 0.060 in for a bore of 5.00 in and more. Ref: FAA AC 43.13-1B, 8-14."""
    diameter_in = 0.060 if bore_m >= _LARGE_BORE_M else 0.040
    limit = _limit("suspect above", 25.0, diameter_in, 80.0, "FAA AC 43.13-1B, 8-14")
    return Limits("AC 43.13-1B", limit, limit)


def judge(reading: StableReading, limits: Limits, cold: bool | None) -> Judgement:
    """The loss at the set point against limits that have been carried to this instrument.

    A cold engine is never corrected for: the advice is to repeat hot where that could change the word. Raises
    DataError for a reading without an uncertainty, UsageError for limits in the wrong order.
    """
    if limits.sound_to.loss_pct > limits.investigate_from.loss_pct:
        raise UsageError(
            "The limit up to which a cylinder is sound lies above the one from which it is not.",
            "Exchange the two limits; both count as this instrument would read them.",
            f"{limits.sound_to.loss_pct:.1f} % and {limits.investigate_from.loss_pct:.1f} %",
        )
    loss, u = reading.loss_at_set_pct, _u_loss_pct(reading)
    chances = _chances(loss, u, limits)
    likeliest = max(chances, key=chances.__getitem__)
    verdict = likeliest if chances[likeliest] >= SURE else Verdict.TOO_CLOSE
    advice = _about_the_limit(loss, u, limits, likeliest) if verdict is Verdict.TOO_CLOSE else _ADVICE[verdict]
    heat = "" if cold is False else _about_the_heat(loss, u, limits, bool(cold))
    return Judgement(verdict, chances[likeliest], limits, cold, f"{advice} {heat}".rstrip())


def judged(reading: StableReading | None, limits: Limits, cold: bool | None) -> Judged | None:
    """The judgement of a reading in short, as it travels; None where there is none, or nothing can be said."""
    if reading is None:
        return None
    try:
        found = judge(reading, limits, cold)
    except DataError:
        return None
    return Judged(reading.loss_at_set_pct, reading.half_width_pct, found.verdict.value, found.probability)


def _chances(loss: float, u: float, limits: Limits) -> dict[Verdict, float]:
    sound = probability(loss, math.hypot(u, limits.sound_to.u_loss_pct), high=limits.sound_to.loss_pct)
    investigate = probability(
        loss, math.hypot(u, limits.investigate_from.u_loss_pct), low=limits.investigate_from.loss_pct
    )
    watch = max(1 - sound - investigate, 0.0)
    return {Verdict.SOUND: sound, Verdict.WATCH: watch, Verdict.INVESTIGATE: investigate}


def probability(value: float, u: float, low: float = -math.inf, high: float = math.inf) -> float:
    """That the true value lies from `low` to `high`, normal with standard uncertainty `u` about `value`.

    Ref: JCGM 106, 7.2 to 7.4.
    """
    if not u > 0:
        return float(low <= value <= high)
    return _below(high, value, u) - _below(low, value, u)


def _below(limit: float, value: float, u: float) -> float:
    return 0.5 * (1 + math.erf((limit - value) / (u * math.sqrt(2))))


def _u_loss_pct(reading: StableReading) -> float:
    """Standard uncertainty, widened so that a normal 95 % interval is as wide as the stated one of few degrees."""
    if math.isnan(reading.u_loss_pct):
        raise DataError("The reading has no uncertainty, so nothing can be said of limits.", "Take it again.")
    stated = reading.expanded_u_loss_pct / _TWO_SIDED
    return reading.u_loss_pct if math.isnan(stated) else max(reading.u_loss_pct, stated)


# ---- in words --------------------------------------------------------------------------------------------------

_ADVICE = {
    Verdict.SOUND: "Nothing to do.",
    Verdict.WATCH: "It works, and it leaks more than it should: test again at the next service and compare.",
    Verdict.INVESTIGATE: "Find where the air goes before taking anything apart: intake, exhaust, oil filler, coolant, "
    "the next cylinder.",
}


def _beyond(loss: float, u: float, limit: Limit) -> float:
    """How far the loss is above the limit, in guard bands; between -1 and 1 the limit can be on either side."""
    return (loss - limit.loss_pct) / (GUARD * math.hypot(u, limit.u_loss_pct))


def _about_the_limit(loss: float, u: float, limits: Limits, likeliest: Verdict) -> str:
    bounds = dict.fromkeys((limits.sound_to, limits.investigate_from))
    near = [f"{limit.loss_pct:.1f} %" for limit in bounds if abs(_beyond(loss, u, limit)) < 1]
    return (
        f"Too near to {' and '.join(near) or 'both limits'} for +-{_TWO_SIDED * u:.2f} points, most likely "
        f"{likeliest.value}: pair the channels again and repeat; if it stays, compare with the other cylinders."
    )


def _about_the_heat(loss: float, u: float, limits: Limits, cold: bool) -> str:
    """Cold reads more, so a limit is in doubt where the reading is above it by less than that, or too near to it."""
    low, high = COLD_MORE
    bounds = (limits.sound_to, limits.investigate_from)
    if not any(loss - limit.loss_pct < high and _beyond(loss, u, limit) > -1 for limit in bounds):
        return ""
    first = "Repeat hot" if cold else "If the engine was cold, repeat hot"
    return f"{first}: a cold engine reads about {low:.0f} to {high:.0f} points more (common practice, no source)."
