"""A whole engine: the facts from the numbers, and the one sentence that follows from them."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from daq.errors import DataError
from daq.procedure import wording
from daq.procedure.engine import EngineProfile, Layout
from daq.procedure.engine_advice import judge_engine
from daq.procedure.judgements import Action, Circumstances, EngineJudgement, EngineVerdict, StandsOut
from daq.procedure.leak_path import Cause
from daq.procedure.one_supply import Carried
from daq.procedure.verdict import COMMON_PRACTICE, Limits, Verdict
from daq.records import CylinderDone, Finding, Place, Strength, TapVerdict
from tests.unit.procedure.judged import INSTRUMENT, PSI, UNPAIRED, done, engine, reading

HOT, COLD = Circumstances(cold=False), Circumstances(cold=True)


def inline(n: int, valves: bool = True) -> EngineProfile:
    return EngineProfile(
        name="inline", firing_order=tuple(range(1, n + 1)), layout=Layout.INLINE if n > 1 else Layout.SINGLE,
        valves=valves,
    )  # fmt: skip


def judged(results: list[CylinderDone], n: int, around: Circumstances = HOT) -> EngineJudgement:
    return judge_engine(results, inline(n), COMMON_PRACTICE, INSTRUMENT, around)


def heard(cylinder: int, place: Place, strength: Strength = Strength.CLEAR) -> Finding:
    return Finding(1, 9.0, 1, cylinder, place, strength)


def said(found: EngineJudgement, key: str) -> bool:
    """Some note was made from this sentence."""
    start = wording.NOTES[key].partition("{")[0]
    end = wording.NOTES[key].rpartition("}")[2]
    return any(note.startswith(start) and note.endswith(end) for note in found.notes)


# ---- advice ----------------------------------------------------------------------------------------------------


def test_a_sound_engine_goes_back_together() -> None:
    found = judged(engine([5.0, 6.1, 4.8, 5.6]), 4)
    assert found.facts.verdict is EngineVerdict.SOUND and found.action is Action.REASSEMBLE
    assert found.facts.probability > 0.99 and "more than 99 %" in found.advice
    assert said(found, "none-out") and found.facts.comparison.high_pairs == ()
    assert all(one.leak_path is None for one in found.facts.cylinders)


def test_a_burnt_valve_hot_and_heard_and_tapped_is_taken_apart() -> None:
    results = engine([5.0, 6.1, 4.8, 5.6])
    results[2] = done(3, reading(35.0), reading(35.1), taps=3)
    untold = judged(results, 4)
    assert untold.facts.verdict is EngineVerdict.INVESTIGATE and untold.action is Action.FIND_LEAK
    assert "cylinder 3" in untold.advice and "listen at intake" in untold.advice
    told = judged(results, 4, replace(HOT, findings=(heard(3, Place.EXHAUST),)))
    assert told.action is Action.TAKE_APART and "exhaust valve" in told.advice
    assert told.facts.cylinders[2].stands_out is StandsOut.HIGH and told.facts.cylinders[2].high


def test_a_valve_that_was_not_tapped_or_not_hot_is_not_taken_apart() -> None:
    found = judged(engine([5.0, 6.1, 35.0, 5.6]), 4, replace(HOT, findings=(heard(3, Place.EXHAUST),)))
    assert found.action is Action.FIND_LEAK and "tap it" in found.advice
    tapped = engine([5.0, 6.1, 35.0, 5.6])
    tapped[2] = done(3, reading(35.0), reading(35.1), taps=3)
    nobody_said = judged(tapped, 4, Circumstances(findings=(heard(3, Place.EXHAUST),)))
    assert nobody_said.action is Action.FIND_LEAK


def test_worn_rings_need_no_tap() -> None:
    found = judged(engine([5.0, 6.1, 35.0, 5.6]), 4, replace(HOT, findings=(heard(3, Place.CRANKCASE),)))
    assert found.action is Action.TAKE_APART and "rings" in found.advice


def test_a_cold_engine_just_above_is_run_first_and_a_gross_leak_is_not() -> None:
    assert judged(engine([5.0, 6.1, 17.0, 5.6]), 4, COLD).action is Action.REPEAT_HOT
    assert judged(engine([5.0, 6.1, 17.0, 5.6]), 4, Circumstances()).action is Action.REPEAT_HOT
    assert judged(engine([5.0, 6.1, 17.0, 5.6]), 4, HOT).action is Action.FIND_LEAK
    assert judged(engine([5.0, 6.1, 60.0, 5.6]), 4, COLD).action is Action.FIND_LEAK


def test_all_high_looks_at_what_is_shared_first() -> None:
    losses = [17.0, 18.1, 16.8, 17.6]
    cold, hot = judged(engine(losses), 4, COLD), judged(engine(losses), 4, HOT)
    assert cold.action is Action.REPEAT_HOT and hot.action is Action.CANNOT_TELL
    assert "pair the channels" in hot.advice and said(hot, "all-high")
    assert hot.facts.comparison.all_high and hot.facts.comparison.high_pairs == ()
    assert hot.facts.cylinders[0].leak_path is not None
    worse = judged(engine([*losses, 17.2, 80.0]), 6, HOT)
    assert worse.action is Action.FIND_LEAK and "cylinder 6" in worse.advice


def test_rings_that_are_heard_in_each_cylinder_of_a_hot_engine_are_believed() -> None:
    losses, everywhere = [32.0, 34.1, 31.8, 33.6], tuple(heard(i, Place.CRANKCASE) for i in range(1, 5))
    hot, cold = (judged(engine(losses), 4, replace(one, findings=everywhere)) for one in (HOT, COLD))
    assert hot.action is Action.TAKE_APART and said(hot, "all-high") and cold.action is Action.REPEAT_HOT
    assert judged(engine(losses), 4, replace(HOT, findings=everywhere[:3])).action is Action.CANNOT_TELL


def test_air_that_never_reached_the_cylinder_is_no_verdict_on_it() -> None:
    found = judged(engine([5.0, 6.1, 35.0, 5.6]), 4, replace(HOT, findings=(heard(3, Place.ELSEWHERE),)))
    assert found.action is Action.CANNOT_TELL and "soap water" in found.advice


def test_too_close_is_repeated() -> None:
    found = judged(engine([5.0, 6.1, 10.0, 5.6]), 4, HOT)
    assert found.facts.verdict is EngineVerdict.TOO_CLOSE and found.action is Action.CANNOT_TELL
    assert "cylinder 3" in found.advice and "hot" not in found.advice
    assert "hot" in judged(engine([5.0, 6.1, 10.0, 5.6]), 4, Circumstances()).advice
    assert judged(engine([5.0, 6.1, 10.0, 5.6]), 4, COLD).action is Action.REPEAT_HOT


def test_between_the_limits_it_is_watched() -> None:
    found = judged(engine([5.0, 6.1, 12.5, 5.6]), 4, HOT)
    assert found.facts.verdict is EngineVerdict.WATCH and found.action is Action.REASSEMBLE
    assert "cylinder 3" in found.advice
    assert judged(engine([5.0, 6.1, 12.5, 5.6]), 4, COLD).action is Action.REPEAT_HOT


def test_words_of_single_cylinders_do_not_add_up_to_one_of_the_engine() -> None:
    """Each of eight is sound with 95 %, all of them with less: errors that are not shared add up."""
    noisy = engine([9.1] * 8, noise_pa=2500.0)
    found = judged(noisy, 8, HOT)
    assert all(one.judgement.verdict is Verdict.SOUND for one in found.facts.cylinders)
    assert found.facts.verdict is EngineVerdict.TOO_CLOSE and found.action is Action.CANNOT_TELL


def test_what_is_not_known_of_the_limit_makes_the_engine_less_sure() -> None:
    """A limit carried by a calibrated restrictor is uncertain itself."""
    vague = Limits(
        "vague",
        replace(COMMON_PRACTICE.sound_to, u_loss_pct=2.0),
        replace(COMMON_PRACTICE.investigate_from, u_loss_pct=2.0),
    )
    results = engine([8.0, 8.1, 7.9, 8.0])
    sure, less = (judge_engine(results, inline(4), one, INSTRUMENT, HOT) for one in (COMMON_PRACTICE, vague))
    assert sure.facts.verdict is EngineVerdict.SOUND and less.facts.verdict is EngineVerdict.TOO_CLOSE
    assert less.facts.probability == pytest.approx(0.83, abs=0.02)


def test_two_ways_out_of_which_one_is_not_inside_are_not_taken_apart() -> None:
    findings = (heard(3, Place.CRANKCASE), heard(3, Place.ELSEWHERE))
    found = judged(engine([5.0, 6.1, 35.0, 5.6]), 4, replace(HOT, findings=findings))
    assert found.action is Action.CANNOT_TELL
    rings_first = (heard(3, Place.COOLANT), heard(3, Place.ELSEWHERE))
    path = judged(engine([5.0, 6.1, 35.0, 5.6]), 4, replace(HOT, findings=rings_first)).facts.cylinders[2].leak_path
    assert path is not None and set(path.likely) == {Cause.COOLANT_PASSAGE, Cause.FITTING}
    both = judged(engine([5.0, 6.1, 35.0, 5.6]), 4, replace(HOT, findings=rings_first))
    assert both.action is Action.FIND_LEAK


def test_what_does_not_matter_does_not_stand_out() -> None:
    found = judged(engine([5.0, 5.01, 5.0, 5.01, 5.0, 5.2]), 6)
    assert {one.stands_out for one in found.facts.cylinders} == {StandsOut.NO}


# ---- before and after taps -------------------------------------------------------------------------------------


def test_the_reading_after_taps_counts_and_both_are_judged() -> None:
    results = engine([5.0, 6.1, 4.8, 5.6])
    results[1] = done(2, reading(21.0), reading(6.3), taps=2)
    found = judged(results, 4)
    second = found.facts.cylinders[1]
    assert second.as_found.verdict is Verdict.INVESTIGATE and second.judgement.verdict is Verdict.SOUND
    assert second.taps is not None and second.taps.verdict is TapVerdict.IMPROVED
    assert second.loss_pct == pytest.approx(6.3) and said(found, "taps-helped")
    assert found.facts.verdict is EngineVerdict.SOUND


# ---- neighbours ------------------------------------------------------------------------------------------------


def test_neighbours_that_are_both_high_point_to_what_is_between_them() -> None:
    found = judged(engine([5.0, 31.0, 29.0, 5.6, 6.0, 5.2]), 6)
    assert found.facts.comparison.high_pairs == ((2, 3),) and said(found, "pair-high")
    path = found.facts.cylinders[1].leak_path
    assert path is not None and path.suspects[0].cause is Cause.GASKET_BETWEEN
    apart = judged(engine([31.0, 5.0, 29.0, 5.6, 6.0, 5.2]), 6)
    assert apart.facts.comparison.high_pairs == ()
    path = apart.facts.cylinders[0].leak_path
    assert path is not None and path.suspects[0].speaks_against != ()


def test_two_of_four_are_told_from_the_rest_by_their_distance() -> None:
    assert judged(engine([5.0, 31.0, 29.0, 5.6]), 4).facts.comparison.high_pairs == ((2, 3),)
    assert judged(engine([5.0, 31.0, 15.0, 5.6]), 4).facts.comparison.high_pairs == ()
    assert judged(engine([5.0, 31.0, 29.0, 26.0]), 4).facts.comparison.high_pairs == ()


def test_many_just_above_a_limit_are_no_pairs() -> None:
    """The limit runs through the middle of a sound engine's spread."""
    found = judged(engine([9.7, 10.6, 10.5, 9.3, 11.1, 11.4]), 6)
    assert sum(one.high for one in found.facts.cylinders) == 4 and found.facts.comparison.high_pairs == ()
    path = found.facts.cylinders[1].leak_path
    assert path is not None and Cause.GASKET_BETWEEN not in {one.cause for one in path.suspects}


def test_a_way_to_the_next_cylinder_is_a_way_back() -> None:
    way = replace(heard(2, Place.NEXT_CYLINDER), neighbour=3)
    found = judged(engine([5.0, 31.0, 29.0, 5.6, 6.0, 5.2]), 6, replace(HOT, findings=(way,)))
    for place in (1, 2):
        path = found.facts.cylinders[place].leak_path
        assert path is not None and path.likely == (Cause.GASKET_BETWEEN,)
    assert found.action is Action.TAKE_APART and found.advice.count("head gasket") == 1
    none = replace(HOT, findings=(replace(way, strength=Strength.NONE),))
    path = judged(engine([5.0, 31.0, 29.0, 5.6, 6.0, 5.2]), 6, none).facts.cylinders[2].leak_path
    assert path is not None and path.heard == ()


def test_what_is_known_of_one_leads_to_the_next_check() -> None:
    found = judged(engine([5.0, 31.0, 5.2, 40.0, 6.0, 5.2]), 6, replace(HOT, findings=(heard(2, Place.COOLANT),)))
    assert found.action is Action.FIND_LEAK and "watch for bubbles" in found.advice


def test_a_neighbour_that_was_not_tested_says_nothing() -> None:
    def against(results: list[CylinderDone], n: int) -> tuple[str, ...]:
        path = judged(results, n, replace(HOT, findings=(heard(1, Place.NEXT_CYLINDER),))).facts.cylinders[0].leak_path
        assert path is not None
        return path.suspects[0].speaks_against

    assert "No neighbouring" in against(engine([31.0, 5.0, 5.2]), 3)[0]
    results = engine([31.0, 5.0, 5.2])
    assert against([results[0], results[2]], 3) == ()


def test_all_high_is_no_sign_of_anything_between_two() -> None:
    path = judged(engine([17.0, 18.1, 16.8, 17.6]), 4).facts.cylinders[0].leak_path
    assert path is not None and Cause.GASKET_BETWEEN not in {one.cause for one in path.suspects}


def test_who_sits_where_must_be_known() -> None:
    nowhere = replace(inline(6), layout=Layout.OTHER)
    found = judge_engine(engine([5.0, 31.0, 29.0, 5.6, 6.0, 5.2]), nowhere, COMMON_PRACTICE, INSTRUMENT, HOT)
    path = found.facts.cylinders[1].leak_path
    assert found.facts.comparison.high_pairs == () and path is not None and path.suspects == ()


# ---- few cylinders, missing cylinders --------------------------------------------------------------------------


def test_one_cylinder_has_nobody_to_compare_with() -> None:
    found = judged(engine([5.0]), 1)
    assert said(found, "one") and math.isnan(found.facts.comparison.spread_pct)
    assert math.isnan(found.facts.cylinders[0].from_median_pct) and found.action is Action.REASSEMBLE
    assert not judged(engine([30.0]), 1).facts.comparison.all_high


def test_two_cylinders_differ_or_not_and_that_is_all() -> None:
    assert said(judged(engine([5.0, 5.1]), 2), "two-alike")
    found = judged(engine([5.0, 8.0]), 2)
    assert said(found, "two-differ") and {one.stands_out for one in found.facts.cylinders} == {StandsOut.NO}
    assert found.notes[-1].startswith("Cylinder 2 leaks more than cylinder 1, by 3.00")


def test_three_say_that_they_are_few() -> None:
    assert said(judged(engine([5.0, 6.0, 7.0]), 3), "three")


def test_missing_cylinders_leave_the_engine_open_unless_one_is_bad() -> None:
    found = judged(engine([5.0, 6.1]), 4)
    assert found.facts.verdict is EngineVerdict.INCOMPLETE and found.facts.missing == (3, 4)
    assert found.action is Action.CANNOT_TELL and "cylinders 3 and 4" in found.advice and said(found, "missing")
    assert judged(engine([5.0, 60.0]), 4).facts.verdict is EngineVerdict.INVESTIGATE


def test_the_last_of_two_results_counts() -> None:
    found = judged([*engine([35.0, 6.1]), done(1, reading(5.0))], 2)
    assert found.facts.cylinders[0].loss_pct == pytest.approx(5.0)


@pytest.mark.parametrize("results", [[], engine([5.0, 6.0, 7.0])])
def test_nothing_and_strange_cylinders_are_refused(results: list[CylinderDone]) -> None:
    with pytest.raises(DataError):
        judged(results, 2)


# ---- readings that were not taken alike ------------------------------------------------------------------------


def test_a_reading_at_another_supply_is_converted_and_said() -> None:
    results = engine([5.0, 6.1, 4.8, 5.6])
    results[3] = done(4, reading(5.8, supply_pa=80 * PSI))
    found = judged(results, 4)
    assert found.facts.cylinders[3].carried is Carried.OTHER_SUPPLY and said(found, "other-supply")
    assert found.facts.cylinders[3].loss_pct < 5.7


def test_two_calibrations_are_said() -> None:
    results = engine([5.0, 6.1, 4.8])
    results[0] = done(1, reading(5.0, UNPAIRED))
    assert said(judged(results, 3), "mixed-calibrations") and not said(
        judged(engine([5.0, 6.0]), 2), "mixed-calibrations"
    )


# ---- words -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probability", "text"), [(0.9999, "more than 99 % sure"), (0.9899, "98 % sure"), (0.956, "95 % sure")]
)
def test_a_sentence_is_never_more_certain_than_the_number(probability: float, text: str) -> None:
    assert wording.certainty(probability) == text


def test_cylinders_in_words() -> None:
    assert wording.cylinders([3]) == "cylinder 3" and wording.cylinders([1, 3, 4]) == "cylinders 1, 3 and 4"
