"""Did the taps help? Judged by the uncertainty of the difference, in which the errors of the sensors cancel."""

from __future__ import annotations

import math

from daq.measure.budget import difference
from daq.records import StableReading, TapEffect, TapVerdict

MATTERS_PCT = 0.25
"""Points of loss: a smaller change is no change to a mechanic (a judgement, no source)."""
SURE = 0.95
LEAST_U_PCT = 1e-3
"""No difference is known better than this, whatever a budget says."""


def tap_effect(before: StableReading, after: StableReading, taps: int) -> TapEffect:
    """The verdict with the highest probability, or CANNOT_TELL if none of them is likely enough.

    Probabilities of the true change below -MATTERS_PCT, within it, and above, for a normal distribution about the
    observed one. Ref: JCGM 106, 7 (the same integrals, over the three intervals).
    """
    change_pct, found_u_pct = difference(before, after)
    u_pct = max(found_u_pct, LEAST_U_PCT)
    improved = _normal_below((-MATTERS_PCT - change_pct) / u_pct)
    worse = 1 - _normal_below((MATTERS_PCT - change_pct) / u_pct)
    chances = {
        TapVerdict.IMPROVED: improved,
        TapVerdict.WORSE: worse,
        TapVerdict.NO_CHANGE: max(0.0, 1 - improved - worse),
    }
    verdict = max(chances, key=lambda word: chances[word])
    probability = chances[verdict]
    return TapEffect(
        segment=after.segment,
        t_s=after.t_s,
        cylinder=after.cylinder,
        taps=taps,
        before_pct=before.loss_at_set_pct,
        after_pct=after.loss_at_set_pct,
        change_pct=change_pct,
        u_change_pct=u_pct,
        verdict=verdict if probability >= SURE else TapVerdict.CANNOT_TELL,
        probability=probability,
    )


def _normal_below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))
