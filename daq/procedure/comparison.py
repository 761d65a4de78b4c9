"""A whole engine: its cylinders against the limits and against each other, and one sentence of advice.

What counts of a cylinder is its newest reading, after taps if there were any: that is how the engine would be put back
together. Chances of the engine know which errors its readings share (`shared_errors`); who stands out is decided at a
stated risk for the whole engine (`spread`); the advice is `engine_advice`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from daq.errors import DataError
from daq.procedure import spread
from daq.procedure.engine import EngineProfile
from daq.procedure.judgements import Circumstances, Comparison, CylinderJudgement, EngineFacts, EngineVerdict, StandsOut
from daq.procedure.leak_path import LeakPath, Pressures, leak_path
from daq.procedure.one_supply import Taken, taken
from daq.procedure.shared_errors import Errors, all_above, all_below, errors_of
from daq.procedure.tap_effect import MATTERS_PCT, tap_effect
from daq.procedure.verdict import SURE, Judgement, Limits, Verdict, judge, probability
from daq.records import CylinderDone, Finding, Instrument, Place, Strength, TapEffect


@dataclass(frozen=True, slots=True)
class _Together:
    """The readings that count, in the order of the cylinder numbers."""

    numbers: tuple[int, ...]
    values: tuple[float, ...]
    errors: Errors


def engine_facts(
    done: Iterable[CylinderDone],
    profile: EngineProfile,
    limits: Limits,
    instrument: Instrument,
    around: Circumstances,
) -> EngineFacts:
    """Of a cylinder that was done more than once the last counts. `limits` must have been carried to `instrument`.

    Raises DataError if nothing was tested, if a cylinder is none of this engine's, and for a reading without an
    uncertainty.
    """
    results = _results(done, profile)
    as_found = {number: taken(one.as_found, instrument) for number, one in results.items()}
    after = {number: taken(one.after_tap, instrument) for number, one in results.items() if one.after_tap}
    judged = [{n: judge(one.reading, limits, around.cold) for n, one in side.items()} for side in (as_found, after)]
    counting = as_found | after
    together = _together(counting)
    out = spread.outliers(together.values, together.errors.covariance, around.risk, MATTERS_PCT)
    high = _high(together, out, limits)
    comparison = _comparison(together, counting, out, high, profile, limits, around.risk)
    effects = {n: _effect(results[n], as_found[n], after[n]) for n in after}
    paths = _paths(judged[0] | judged[1], effects, high, comparison, profile, around)
    cylinders = _cylinders(together, judged, effects, out, high, counting, paths)
    chances = _chances(together, limits)
    missing = tuple(sorted(set(profile.firing_order) - set(results)))
    verdict, likely = _verdict(chances, missing)
    return EngineFacts(verdict, likely, chances, cylinders, missing, comparison, limits, around.cold)


def _results(done: Iterable[CylinderDone], profile: EngineProfile) -> dict[int, CylinderDone]:
    results = {one.cylinder: one for one in done}
    strange = sorted(set(results) - set(profile.firing_order))
    if strange or not results:
        raise DataError(
            f"Cylinders {strange} are none of this engine's." if strange else "No cylinder has been tested.",
            "Choose the profile that the test was made with." if strange else "Test one before asking for a judgement.",
            f"{profile.name}, {len(results)} results",
        )
    return dict(sorted(results.items()))


def _together(counting: Mapping[int, Taken]) -> _Together:
    numbers = tuple(sorted(counting))
    ones = [counting[number] for number in numbers]
    values = tuple(one.reading.loss_at_set_pct for one in ones)
    return _Together(numbers, values, errors_of([one.reading for one in ones], [one.scale for one in ones]))


# ---- against the limits ----------------------------------------------------------------------------------------


def _chances(together: _Together, limits: Limits) -> dict[Verdict, float]:
    """All sound, any to be investigated, and what is left. Ref: JCGM 106, 7, of all cylinders at once."""
    values = np.array(together.values)
    sound, below = (
        all_below(values, together.errors.with_shared(limit.u_loss_pct), limit.loss_pct)
        for limit in (limits.sound_to, limits.investigate_from)
    )
    watch = max(below - sound, 0.0)
    return {Verdict.SOUND: sound, Verdict.WATCH: watch, Verdict.INVESTIGATE: 1 - max(below, sound)}


def _verdict(chances: Mapping[Verdict, float], missing: Sequence[int]) -> tuple[EngineVerdict, float]:
    """One cylinder beyond the limit settles it; that all are sound needs all of them."""
    likeliest = max(chances, key=chances.__getitem__)
    if missing and not (likeliest is Verdict.INVESTIGATE and chances[likeliest] >= SURE):
        return EngineVerdict.INCOMPLETE, chances[likeliest]
    sure = chances[likeliest] >= SURE
    return EngineVerdict(likeliest.value) if sure else EngineVerdict.TOO_CLOSE, chances[likeliest]


def _high(together: _Together, out: Sequence[int], limits: Limits) -> frozenset[int]:
    """Cylinders that are surely above what is sound, or stand out above the others."""
    limit, u = limits.sound_to, np.sqrt(np.diag(together.errors.covariance))
    high = set()
    for number, value, u_value, sign in zip(together.numbers, together.values, u.tolist(), out, strict=True):
        above = probability(value, math.hypot(u_value, limit.u_loss_pct), low=limit.loss_pct)
        if above >= SURE or sign > 0:
            high.add(number)
    return frozenset(high)


# ---- against each other ----------------------------------------------------------------------------------------


def _comparison(
    together: _Together,
    counting: Mapping[int, Taken],
    out: Sequence[int],
    high: frozenset[int],
    profile: EngineProfile,
    limits: Limits,
    risk: float,
) -> Comparison:
    limit, n = limits.sound_to, len(together.numbers)
    errors = together.errors.with_shared(limit.u_loss_pct)
    return Comparison(
        n,
        median(together.values),
        spread.qn(together.values) if n > 1 else math.nan,
        2 * spread.u_from_median(together.values, together.errors.covariance)[0] if n == 2 else math.nan,
        risk,
        _high_pairs(together, out, high, profile),
        all_above(np.array(together.values), errors, limit.loss_pct),
        len({one.reading.calibration_id for one in counting.values()}) == 1,
    )


def _high_pairs(
    together: _Together, out: Sequence[int], high: frozenset[int], profile: EngineProfile
) -> tuple[tuple[int, int], ...]:
    """Neighbours that stand out together: both at the stated risk, or, since two of few hide each other, the only ones
    that are high, and further from the rest than the rest and they themselves lie apart."""
    stands_out = {number for number, sign in zip(together.numbers, out, strict=True) if sign > 0}
    pairs = sorted((a, b) for a in high for b in profile.neighbours(a) if a < b and b in high)
    return tuple(pair for pair in pairs if stands_out.issuperset(pair) or _two_apart(together, pair, high))


def _two_apart(together: _Together, pair: tuple[int, int], high: frozenset[int]) -> bool:
    of_pair = [value for number, value in zip(together.numbers, together.values, strict=True) if number in pair]
    rest = [value for number, value in zip(together.numbers, together.values, strict=True) if number not in pair]
    if high != set(pair) or not rest:
        return False
    return min(of_pair) - max(rest) > max(max(rest) - min(rest), max(of_pair) - min(of_pair), MATTERS_PCT)


def _effect(result: CylinderDone, before: Taken, after: Taken) -> TapEffect:
    return tap_effect(before.reading, after.reading, result.taps)


def _paths(
    judged: Mapping[int, Judgement],
    effects: Mapping[int, TapEffect],
    high: frozenset[int],
    comparison: Comparison,
    profile: EngineProfile,
    around: Circumstances,
) -> dict[int, LeakPath]:
    paths = {}
    for number, judgement in judged.items():
        heard = _heard(number, around.findings)
        if not heard and judgement.verdict is Verdict.SOUND:
            continue
        effect = effects.get(number)
        pressures = Pressures(
            taps=effect.verdict if effect else None,
            neighbour_high=_neighbour_high(number, judged, high, comparison.high_pairs, profile),
            all_high=comparison.all_high or None,
            rocking_changed=around.rocking_changed.get(number),
            cold=around.cold,
            valves=profile.valves,
        )
        paths[number] = leak_path(heard, pressures)
    return paths


def _heard(number: int, findings: Iterable[Finding]) -> list[Finding]:
    """Air of this cylinder; a way from another to this one is a way back as well."""
    own = [found for found in findings if found.cylinder == number]
    way_in = (found for found in findings if found.place is Place.NEXT_CYLINDER and found.neighbour == number)
    back = [replace(f, cylinder=number, neighbour=f.cylinder) for f in way_in if f.strength is not Strength.NONE]
    return [*back, *own]


def _neighbour_high(
    number: int,
    tested: Collection[int],
    high: frozenset[int],
    pairs: Iterable[tuple[int, int]],
    profile: EngineProfile,
) -> bool | None:
    """Unknown where nobody sits beside it, where one of those was not tested, or is high without standing out."""
    beside = set(profile.neighbours(number))
    if any(number in pair for pair in pairs):
        return True
    return False if beside and beside <= set(tested) and not high.intersection(beside) else None


_SIGNS = {1: StandsOut.HIGH, -1: StandsOut.LOW, 0: StandsOut.NO}


def _cylinders(
    together: _Together,
    judged: Sequence[Mapping[int, Judgement]],
    effects: Mapping[int, TapEffect],
    out: Sequence[int],
    high: frozenset[int],
    counting: Mapping[int, Taken],
    paths: Mapping[int, LeakPath],
) -> tuple[CylinderJudgement, ...]:
    covariance, enough = together.errors.covariance, len(together.numbers) >= spread.LEAST
    middle, apart = median(together.values), spread.u_from_median(together.values, covariance)
    return tuple(
        CylinderJudgement(
            cylinder=number,
            as_found=judged[0][number],
            after_taps=judged[1].get(number),
            taps=effects.get(number),
            loss_pct=together.values[place],
            u_loss_pct=math.sqrt(covariance[place, place]),
            from_median_pct=together.values[place] - middle if enough else math.nan,
            u_from_median_pct=apart[place] if enough else math.nan,
            stands_out=_SIGNS[out[place]],
            high=number in high,
            carried=counting[number].carried,
            leak_path=paths.get(number),
        )
        for place, number in enumerate(together.numbers)
    )
