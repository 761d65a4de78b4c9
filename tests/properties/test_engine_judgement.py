"""What must hold for any engine: who is who does not matter, common errors make no outlier, chances are chances."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.procedure.engine import EngineProfile
from daq.procedure.engine_advice import judge_engine
from daq.procedure.judgements import Circumstances, EngineJudgement, StandsOut
from daq.procedure.leak_path import Pressures, leak_path
from daq.procedure.shared_errors import errors_of
from daq.procedure.spread import outliers
from daq.procedure.verdict import COMMON_PRACTICE, Verdict
from daq.records import CylinderDone, Finding, Place, Strength, TapVerdict
from tests.unit.procedure.judged import INSTRUMENT, UNPAIRED, draw, engine, reading

LOSSES = st.lists(st.floats(0.0, 80.0), min_size=1, max_size=16)
MAYBE = st.sampled_from((None, True, False))


def judged(results: list[CylinderDone], cold: bool | None = False) -> EngineJudgement:
    profile = EngineProfile(name="any", firing_order=tuple(range(1, len(results) + 1)))
    return judge_engine(results, profile, COMMON_PRACTICE, INSTRUMENT, Circumstances(cold=cold))


@settings(deadline=None, max_examples=20)
@given(LOSSES, st.randoms(use_true_random=False))
def test_permuting_the_cylinders_permutes_the_results(losses: list[float], random: object) -> None:
    order = list(range(len(losses)))
    random.shuffle(order)  # type: ignore[attr-defined]
    one, other = judged(engine(losses)), judged(engine([losses[place] for place in order]))
    assert one.facts.probability == pytest.approx(other.facts.probability, abs=4e-3)
    assert one.facts.comparison.median_pct == pytest.approx(other.facts.comparison.median_pct)
    for place, found in zip(order, other.facts.cylinders, strict=True):
        same = one.facts.cylinders[place]
        assert (found.judgement, found.high) == (same.judgement, same.high)
        assert found.loss_pct == same.loss_pct


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(0.0, 80.0), min_size=1, max_size=16), st.floats(-30.0, 30.0), st.floats(0.0, 5.0))
def test_a_common_error_makes_no_outlier(values: list[float], offset: float, shared: float) -> None:
    """Rounded to a thousandth, so that adding the offset changes no difference by more than rounding."""
    values = [round(value, 3) for value in values]
    own = np.eye(len(values)) * 0.05**2
    shifted = [value + round(offset, 3) for value in values]
    before, after = outliers(values, own, 0.05), outliers(shifted, own + shared**2, 0.05)
    assert before == after


@settings(deadline=None, max_examples=20)
@given(LOSSES, MAYBE)
def test_chances_are_chances_and_the_sentence_is_one(losses: list[float], cold: bool | None) -> None:
    found = judged(engine(losses), cold)
    assert all(0 <= chance <= 1 for chance in found.facts.chances.values())
    assert sum(found.facts.chances.values()) == pytest.approx(1.0)
    assert 1 / 3 <= found.facts.probability <= 1 and 0 <= found.facts.comparison.all_high_probability <= 1
    assert found.advice and "{" not in "".join((found.advice, *found.notes))
    assert len(losses) >= 3 or {one.stands_out for one in found.facts.cylinders} == {StandsOut.NO}


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.builds(Finding, st.just(1), st.just(9.0), st.just(1), st.just(1), st.sampled_from(Place),
                       st.sampled_from(Strength)), max_size=6),
    st.builds(Pressures, st.sampled_from((None, *TapVerdict)), MAYBE, MAYBE, MAYBE, MAYBE, st.booleans()),
)  # fmt: skip
def test_any_mixture_of_signs_is_ranked(heard: list[Finding], pressures: Pressures) -> None:
    found = leak_path(heard, pressures)
    points = [suspect.points for suspect in found.suspects]
    assert points == sorted(points, reverse=True) and found.told is bool(found.likely)
    assert found.sentence and found.next_check and found.told is ("Cannot tell" not in found.sentence)


def test_chances_of_engines_come_true_as_often_as_they_say() -> None:
    """Engines of four, one after the other anywhere about the limit, unpaired, so that nearly all errors are shared:
    the engines that are sound are as many as their chances add up to, and of the words given one in twenty is wrong
    at most. Ref: JCGM 106, 7 and 8."""
    errors = errors_of([reading(10.0, UNPAIRED) for _ in range(4)])
    rng, chances, sound = np.random.default_rng(8), [], []
    for error in draw(7, errors.covariance, 200):
        true = rng.uniform(9.4, 10.6) + np.linspace(-0.02, 0.02, 4)
        found = engine((true + error).tolist(), UNPAIRED)
        chances.append(judged(found).facts.chances[Verdict.SOUND])
        sound.append(bool((true <= 10).all()))
    p, came_true = np.array(chances), np.array(sound)
    assert abs((p - came_true).sum()) < 3 * (p * (1 - p)).sum() ** 0.5
    given = (p >= 0.95) | (p <= 0.05)
    assert given.sum() > 60 and (came_true != (p > 0.5))[given].mean() < 0.05


def test_taken_as_independent_they_would_not() -> None:
    """The chance of eight that read the limit exactly is near a half, not a half to the eighth."""
    found = judged(engine([10.0] * 8, UNPAIRED)).facts.chances[Verdict.SOUND]
    assert 0.3 < found < 0.5
