"""The sentences of the judgement of a whole engine and of its history, in English, in one place.

A translation replaces the values here; what stands in braces is filled in by the code that uses the sentence. The
sentences about where the air goes stand beside their rules, in `leak_rules`.
"""

from __future__ import annotations

from collections.abc import Sequence

# ---- the engine ------------------------------------------------------------------------------------------------

ADVICE = {
    "reassemble": "Put it back together: all cylinders are sound ({certainty}).",
    "reassemble-watch": "Put it back together and compare at the next service: {cylinders} leaks more than it should "
    "and works ({certainty}).",
    "repeat-hot": "Run it and repeat hot before anything is taken apart: a cold engine reads about {low:.0f} to "
    "{high:.0f} points more (common practice, no source).",
    "repeat-hot-all": "All cylinders are high, so look at what they share first: run it and repeat hot, with the "
    "channels paired again and the restrictor clean.",
    "find-leak": "Find where the air of {cylinders} goes before anything is taken apart ({certainty} that there is "
    "something to find): {check}",
    "take-apart": "Take it apart at {cylinders}: too much air goes with the engine hot ({certainty}), and most likely "
    "this way: {cause}.",
    "instrument-first": "Cannot tell yet: all cylinders are high, so look at what they share first; pair the channels "
    "again, clean the restrictor and repeat.",
    "not-the-cylinder": "Cannot tell yet, because what was heard at {cylinders} points away from the cylinder: {check}",
    "missing": "Cannot tell yet: {cylinders} not tested; finish the test.",
    "too-close": "Cannot tell yet: too near to a limit at {cylinders} for this uncertainty; pair the channels again "
    "and repeat{hot}.",
}
HOT = ", with the engine hot"

NOTES = {
    "one": "One cylinder cannot be compared with others, only with a limit and with its own past.",
    "two-alike": "The two cylinders differ by nothing that matters or could be told ({difference:.2f} ± {u95:.2f} "
    "points).",
    "two-differ": "Cylinder {higher} leaks more than cylinder {lower}, by {difference:.2f} ± {u95:.2f} points; which "
    "of the two is unusual, two cylinders cannot say.",
    "three": "Among three cylinders only a gross difference stands out.",
    "spread": "Median {median:.2f} %, spread {spread:.2f} points (robust standard deviation, {n} cylinders).",
    "none-out": "No cylinder stands out of the others (risk of naming a sound one {risk:.0f} % for the whole engine).",
    "high-out": "Cylinder {cylinder} stands out: {distance:.2f} ± {u95:.2f} points above the median (risk of naming a "
    "sound one {risk:.0f} % for the whole engine).",
    "low-out": "Cylinder {cylinder} stands out: {distance:.2f} ± {u95:.2f} points below the median, which is no fault "
    "of it but may be one of the others or of the reading.",
    "pair-high": "The neighbours {first} and {second} are both high: look for a way from one to the other, gasket or "
    "crack.",
    "all-high": "All cylinders are high ({certainty}): a cold engine, a fouled restrictor or a stale pairing does "
    "that sooner than as many leaks.",
    "other-supply": "Cylinder {cylinder} was read at another supply than the set point and has been converted.",
    "other-restrictor": "Cylinder {cylinder} was read with another restrictor and has been converted by the area of "
    "the leak, with what is not known of both restrictors.",
    "mixed-calibrations": "The cylinders were not all read with one calibration: what one of them has wrong does not "
    "cancel between them.",
    "missing": "Not tested: {cylinders}. What is said here is said of the others.",
    "taps-helped": "Taps lowered the loss of cylinder {cylinder} by {change:.2f} ± {u95:.2f} points.",
    "taps-worse": "Taps raised the loss of cylinder {cylinder} by {change:.2f} ± {u95:.2f} points: tap and read again.",
}

# ---- the history -----------------------------------------------------------------------------------------------

TREND = {
    "too-few": "Too few readings for a trend ({n}): five at least that lie apart, or chance alone would make one.",
    "rising": "It leaks more and more: {slope} {per} (95 % interval {low} to {high}; such a series comes about by "
    "chance in {chance} of cases).",
    "falling": "It leaks less and less: {slope} {per} (95 % interval {low} to {high}; such a series comes about by "
    "chance in {chance} of cases).",
    "none": "No trend that could be told from chance ({n} readings; such a series comes about by chance in {chance} of "
    "cases).",
}
LEFT_OUT = "Left out, because cold and hot do not compare: readings of the cold engine ({n})."
ONLY_COLD = "All readings are of the cold engine."
CHANGE = {
    "first": "There is no earlier reading to compare with.",
    "higher": "It leaks more than last time: {change} ± {u95} ({certainty}).",
    "lower": "It leaks less than last time: {change} ± {u95} ({certainty}).",
    "same": "No change since last time that could be told: less than {u95} cannot be seen.",
}
FORECAST = {
    "told": "At this rate the limit is reached at {at} (between {early} and {late}).",
    "open-ended": "At this rate the limit is reached at {at}, not before {early}; how late cannot be said.",
    "no-trend": "When the limit will be reached cannot be said: there is no rising trend that could be told from "
    "chance.",
    "already": "The limit may be reached already.",
    "too-far": "When the limit will be reached cannot be said: it is further off than the record is long.",
}
PLAIN = {"area-ratio": "{value:.3f}", "leak-area": "{value:.3f} mm2"}
SIGNED = {"area-ratio": "{value:+.3f}", "leak-area": "{value:+.3f} mm2"}
PER = {"date": "a year", "hours": "in 100 hours", "distance": "in 10,000 km"}
AT = {"hours": "{x:,.0f} hours", "distance": "{x:,.0f} km"}

# ---- pieces ----------------------------------------------------------------------------------------------------

CYLINDER, CYLINDERS, AND = "cylinder {numbers}", "cylinders {numbers}", " and "
CHANCE, HARDLY_EVER = "{percent:.1f} %", "less than 0.1 %"
SURE, NEARLY_SURE = "{percent} % sure", "more than 99 % sure"


def cylinders(numbers: Sequence[int]) -> str:
    """`cylinder 3`, `cylinders 1, 3 and 4`."""
    *most, last = map(str, numbers)
    text = f"{', '.join(most)}{AND}{last}" if most else last
    return (CYLINDERS if most else CYLINDER).format(numbers=text)


def certainty(probability: float) -> str:
    """Rounded down, so that a sentence is never more certain than the number."""
    return NEARLY_SURE if probability > 0.99 else SURE.format(percent=int(100 * probability))


def chance(probability: float) -> str:
    return HARDLY_EVER if probability < 0.001 else CHANCE.format(percent=100 * probability)
