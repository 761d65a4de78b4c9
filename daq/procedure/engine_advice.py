"""The judgement of a whole engine in words: one thing to do, in one sentence, and notes on what was seen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from daq.procedure import wording
from daq.procedure.comparison import engine_facts
from daq.procedure.engine import EngineProfile
from daq.procedure.judgements import (
    Action,
    Circumstances,
    Comparison,
    CylinderJudgement,
    EngineFacts,
    EngineJudgement,
    EngineVerdict,
    StandsOut,
)
from daq.procedure.leak_path import Cause
from daq.procedure.spread import TWO_SIDED
from daq.procedure.tap_effect import MATTERS_PCT
from daq.procedure.verdict import COLD_MORE, Limits, Verdict
from daq.records import CylinderDone, Instrument, TapVerdict

INSIDE = frozenset((Cause.INTAKE_VALVE, Cause.EXHAUST_VALVE, Cause.RINGS, Cause.GASKET_BETWEEN, Cause.COOLANT_PASSAGE))
"""Causes that nothing but taking apart can mend."""
OF_VALVES = frozenset((Cause.INTAKE_VALVE, Cause.EXHAUST_VALVE))
ELSEWHERE = frozenset((Cause.FITTING, Cause.PISTON_POSITION))
"""Causes that make the reading worthless, whatever the cylinder is like."""


def judge_engine(
    done: Iterable[CylinderDone],
    profile: EngineProfile,
    limits: Limits,
    instrument: Instrument,
    around: Circumstances | None = None,
) -> EngineJudgement:
    """See `comparison.engine_facts` for the arguments and errors."""
    facts = engine_facts(done, profile, limits, instrument, around or Circumstances())
    action, advice = _advice(facts)
    return EngineJudgement(facts, action, advice, tuple(_notes(facts)))


# ---- one thing to do -------------------------------------------------------------------------------------------


def _advice(facts: EngineFacts) -> tuple[Action, str]:
    """What all cylinders share comes first, then what is surely too much, then what is not known yet.

    A cylinder that is far worse than all the others has more than what they share, and air that was heard to go
    through each cylinder of a hot engine does too.
    """
    explained = facts.cold is False and all(_leading(cylinder) in INSIDE for cylinder in facts.cylinders)
    if facts.comparison.all_high and not explained and not _far_worse(facts):
        return _about_all(facts)
    by_verdict: dict[EngineVerdict, Callable[[EngineFacts], tuple[Action, str]]] = {
        EngineVerdict.INVESTIGATE: _about_too_much,
        EngineVerdict.INCOMPLETE: _about_the_missing,
        EngineVerdict.TOO_CLOSE: _about_too_close,
        EngineVerdict.WATCH: _about_watching,
        EngineVerdict.SOUND: lambda sound: (Action.REASSEMBLE, _say("reassemble", sound)),
    }
    return by_verdict[facts.verdict](facts)


def _about_all(facts: EngineFacts) -> tuple[Action, str]:
    if facts.cold is False:
        return Action.CANNOT_TELL, _say("instrument-first", facts)
    return Action.REPEAT_HOT, _say("repeat-hot-all", facts)


def _about_too_much(facts: EngineFacts) -> tuple[Action, str]:
    """Heat where it could change the word, else the leak; taking apart only where the way of the air is known.

    Ref: FAA AC 43.13-1B, 8-14: recheck after running the engine for at least 3 minutes before a cylinder is condemned.
    """
    bad = _worst(facts)
    if all(_leading(cylinder) in ELSEWHERE for cylinder in bad):
        return Action.CANNOT_TELL, _say("not-the-cylinder", facts, bad, check=_check(bad))
    if facts.cold is not False and all(_heat_matters(cylinder, facts.limits) for cylinder in bad):
        return Action.REPEAT_HOT, _say("repeat-hot", facts)
    if facts.cold is False and all(map(_settled, bad)):
        return Action.TAKE_APART, _say("take-apart", facts, bad, cause=_cause(bad))
    return Action.FIND_LEAK, _say("find-leak", facts, bad, check=_check(bad))


def _about_the_missing(facts: EngineFacts) -> tuple[Action, str]:
    return Action.CANNOT_TELL, wording.ADVICE["missing"].format(cylinders=wording.cylinders(facts.missing))


def _about_too_close(facts: EngineFacts) -> tuple[Action, str]:
    """Also where each cylinder has its word, and the engine has not: it is sound only if all are."""
    if facts.cold:
        return Action.REPEAT_HOT, _say("repeat-hot", facts)
    near = facts.judged(Verdict.TOO_CLOSE) or facts.judged(Verdict.INVESTIGATE, Verdict.WATCH) or facts.cylinders
    hot = "" if facts.cold is False else wording.HOT
    return Action.CANNOT_TELL, _say("too-close", facts, near, hot=hot)


def _about_watching(facts: EngineFacts) -> tuple[Action, str]:
    if facts.cold:
        return Action.REPEAT_HOT, _say("repeat-hot", facts)
    watched = facts.judged(Verdict.WATCH) or facts.judged(Verdict.TOO_CLOSE)
    return Action.REASSEMBLE, _say("reassemble-watch", facts, watched)


def _say(key: str, facts: EngineFacts, about: Sequence[CylinderJudgement] = (), **more: str) -> str:
    return wording.ADVICE[key].format(
        cylinders=wording.cylinders([cylinder.cylinder for cylinder in about]) if about else "",
        certainty=wording.certainty(facts.probability),
        low=COLD_MORE[0],
        high=COLD_MORE[1],
        **more,
    )


def _worst(facts: EngineFacts) -> tuple[CylinderJudgement, ...]:
    """Those with too much loss; several may make the engine's word sure where none of them is sure alone."""
    if facts.comparison.all_high and _far_worse(facts):
        return _far_worse(facts)
    return facts.judged(Verdict.INVESTIGATE) or facts.judged(Verdict.TOO_CLOSE)


def _far_worse(facts: EngineFacts) -> tuple[CylinderJudgement, ...]:
    """Those that stand out above the others and that heat would not bring below the limit."""
    out = (one for one in facts.cylinders if one.stands_out is StandsOut.HIGH)
    return tuple(one for one in out if not _heat_matters(one, facts.limits))


def _leading(cylinder: CylinderJudgement) -> Cause | None:
    likely = cylinder.leak_path.likely if cylinder.leak_path else ()
    return likely[0] if likely else None


def _heat_matters(cylinder: CylinderJudgement, limits: Limits) -> bool:
    return cylinder.loss_pct - COLD_MORE[1] < limits.investigate_from.loss_pct


def _settled(cylinder: CylinderJudgement) -> bool:
    """The air goes one known way, inside; a valve has been tapped, and that did not do."""
    likely = cylinder.leak_path.likely if cylinder.leak_path else ()
    tapped = cylinder.taps is not None and cylinder.taps.verdict is not TapVerdict.IMPROVED
    return bool(likely) and INSIDE.issuperset(likely) and (tapped or not OF_VALVES.intersection(likely))


def _check(bad: Sequence[CylinderJudgement]) -> str:
    """The next check for the worst of those of which something is known, or else of all."""
    paths = [one.leak_path for one in sorted(bad, key=lambda one: -one.loss_pct) if one.leak_path]
    return next((path.next_check for path in paths if path.told), paths[0].next_check if paths else "")


def _cause(bad: Sequence[CylinderJudgement]) -> str:
    names = [suspect.name for one in bad if one.leak_path for suspect in one.leak_path.suspects[:1]]
    return wording.AND.join(dict.fromkeys(names))


# ---- notes -----------------------------------------------------------------------------------------------------


def _notes(facts: EngineFacts) -> Iterator[str]:
    if facts.missing:
        yield wording.NOTES["missing"].format(cylinders=wording.cylinders(facts.missing))
    for cylinder in facts.cylinders:
        yield from _about_the_reading(cylinder)
    if not facts.comparison.one_calibration:
        yield wording.NOTES["mixed-calibrations"]
    yield from _against_each_other(facts)
    if facts.comparison.all_high:
        yield wording.NOTES["all-high"].format(certainty=wording.certainty(facts.comparison.all_high_probability))
    for first, second in facts.comparison.high_pairs:
        yield wording.NOTES["pair-high"].format(first=first, second=second)


_TAPS = {TapVerdict.IMPROVED: "taps-helped", TapVerdict.WORSE: "taps-worse"}


def _about_the_reading(cylinder: CylinderJudgement) -> Iterator[str]:
    if cylinder.carried:
        yield wording.NOTES[cylinder.carried.value].format(cylinder=cylinder.cylinder)
    taps = cylinder.taps
    if taps and taps.verdict in _TAPS:
        yield wording.NOTES[_TAPS[taps.verdict]].format(
            cylinder=cylinder.cylinder, change=abs(taps.change_pct), u95=TWO_SIDED * taps.u_change_pct
        )


def _against_each_other(facts: EngineFacts) -> Iterator[str]:
    n = facts.comparison.n
    if n == 1:
        yield wording.NOTES["one"]
    elif n == 2:
        yield _two(facts)
    else:
        yield from _several(facts.comparison, facts.cylinders)


def _two(facts: EngineFacts) -> str:
    low, high = sorted(facts.cylinders, key=lambda cylinder: cylinder.loss_pct)
    difference, u95 = high.loss_pct - low.loss_pct, TWO_SIDED * facts.comparison.u_difference_pct
    key = "two-differ" if difference > max(u95, MATTERS_PCT) else "two-alike"
    return wording.NOTES[key].format(higher=high.cylinder, lower=low.cylinder, difference=difference, u95=u95)


def _several(comparison: Comparison, cylinders: Sequence[CylinderJudgement]) -> Iterator[str]:
    yield wording.NOTES["spread"].format(median=comparison.median_pct, spread=comparison.spread_pct, n=comparison.n)
    if comparison.n == 3:
        yield wording.NOTES["three"]
    out = [cylinder for cylinder in cylinders if cylinder.stands_out is not StandsOut.NO]
    for cylinder in out:
        yield wording.NOTES[f"{cylinder.stands_out.value}-out"].format(
            cylinder=cylinder.cylinder,
            distance=abs(cylinder.from_median_pct),
            u95=TWO_SIDED * cylinder.u_from_median_pct,
            risk=100 * comparison.risk,
        )
    if not out:
        yield wording.NOTES["none-out"].format(risk=100 * comparison.risk)
