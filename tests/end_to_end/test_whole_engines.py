"""Whole engines, from the bytes of a simulated board to one sentence of advice, beside the simulator's own truth.

The simulator has physics of its own and says, by itself, what each cylinder loses and where its air goes.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from daq.cli.render import render
from daq.measure.calibration import assumed_calibration, calibrated_instrument
from daq.measure.limits import carried
from daq.pipeline import Pipeline, run
from daq.procedure import EngineProfile, TestPlan
from daq.procedure.crank_turns import crank_steps
from daq.procedure.engine import Layout
from daq.procedure.engine_advice import judge_engine
from daq.procedure.judgements import Action, Circumstances, EngineJudgement
from daq.procedure.leak_path import Cause
from daq.procedure.plan import Temperature
from daq.procedure.verdict import COMMON_PRACTICE, Limits, Verdict
from daq.records import Cue, Fault, Finding, Input, Instrument, LinkDown, Mark, MarkKind, Pairing, TestDone
from daq.sinks.raw_log import read_raw_log
from daq.units import M_PER_INCH, PA_PER_PSI

INSTRUMENT = Instrument(0.040 * M_PER_INCH, 0.8, 0.5283, 101_325.0, 293.15, 100 * PA_PER_PSI, 2 * PA_PER_PSI)
PROFILE = EngineProfile(name="invented four", firing_order=(1, 3, 4, 2), layout=Layout.INLINE)
STARTS_S = 1_767_225_600.0  # 2026-01-01, when every rendered log begins
PAIRED = replace(
    assumed_calibration(),
    pairing=Pairing("p", STARTS_S, 0.0, 0.0, 150.0, 2e-4, 0.0, 120.0, 4.0, 1.4e5, 6.9e5, 0.0),
)
"""The transducers of these engines agree exactly; so far would a pairing in a garage know it."""
CARRIED = Limits(
    "common practice",
    carried(COMMON_PRACTICE.sound_to, INSTRUMENT, PAIRED),
    carried(COMMON_PRACTICE.investigate_from, INSTRUMENT, PAIRED),
)
HEARD_AT = {"crankcase": "crankcase", "exhaust": "exhaust", "intake": "intake", "coolant": "coolant"}


@dataclass(frozen=True)
class Outcome:
    truth: tuple[dict[str, Any], ...]
    done: TestDone | None
    judgement: EngineJudgement
    faults: tuple[str, ...]
    cues: tuple[str, ...]

    def words(self) -> dict[int, Verdict]:
        return {one.cylinder: one.judgement.verdict for one in self.judgement.facts.cylinders}

    def causes(self, cylinder: int) -> list[Cause]:
        (one,) = (each for each in self.judgement.facts.cylinders if each.cylinder == cylinder)
        return list(one.leak_path.likely) if one.leak_path else []


@cache
def truth(scenario: str) -> tuple[dict[str, Any], ...]:
    command = [sys.executable, "-m", "simulator", "truth", scenario, "--json"]
    return tuple(json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout))


def outcome_of(scenario: str, folder: Path, temperature: Temperature = Temperature.HOT) -> Outcome:
    """The whole scenario; afterwards somebody tells where the leakiest cylinders hissed, and ends the test."""
    log = folder / f"{scenario}.btlog"
    render(scenario, log, 5, None)
    plan = TestPlan(
        scenario, PROFILE.order, tuple(step.turn_deg for step in crank_steps(PROFILE)), temperature,
        acknowledged="kim", soft_step=True,
    )  # fmt: skip
    pipeline = Pipeline(INSTRUMENT, PAIRED, plan)
    records = list(run(pipeline, with_marks(read_raw_log(log), plan, truth(scenario))))
    done = [record for record in records if isinstance(record, TestDone)]
    findings = tuple(record for record in records if isinstance(record, Finding))
    results = done[0].cylinders if done else ()
    around = Circumstances(cold=temperature.cold, findings=findings)
    return Outcome(
        truth(scenario),
        done[0] if done else None,
        judge_engine(results, PROFILE, CARRIED, calibrated_instrument(INSTRUMENT, PAIRED), around),
        tuple(record.fault for record in records if isinstance(record, Fault)),
        tuple(record.cue for record in records if isinstance(record, Cue)),
    )


def with_marks(inputs: Iterable[Input], plan: TestPlan, told: Iterable[dict[str, Any]]) -> Iterable[Input]:
    yield Mark(STARTS_S, MarkKind.START, plan.to_text())
    for item in inputs:
        if isinstance(item, LinkDown):
            yield from (Mark(item.at_s, MarkKind.HEARD, words) for row in told for words in heard(row))
            yield Mark(item.at_s, MarkKind.FINISH)
        yield item


def heard(row: dict[str, Any]) -> list[str]:
    """A leak larger than half a square millimetre hisses clearly where it comes out (invented for this test)."""
    found = []
    for path, area_mm2 in row["after_tap_mm2_by_path"].items():
        if area_mm2 > 0.35:
            other = {2: 3, 3: 2}.get(row["cylinder"], 1)
            place = f"next-cylinder {other}" if path == "next_cylinder" else HEARD_AT[path]
            found.append(f"{row['cylinder']}: {place} clear")
    return found


def true_word(loss_pct: float) -> Verdict:
    if loss_pct <= COMMON_PRACTICE.sound_to.loss_pct:
        return Verdict.SOUND
    return Verdict.INVESTIGATE if loss_pct >= COMMON_PRACTICE.investigate_from.loss_pct else Verdict.WATCH


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Outcome]:
    folder = tmp_path_factory.mktemp("engines")
    cold = {"four-cold": Temperature.COLD}
    return {name: outcome_of(name, folder, cold.get(name, Temperature.HOT)) for name in ENGINES}


ENGINES = (
    "four-sound", "four-burnt-valve", "four-worn-rings", "four-head-gasket", "four-debris", "four-cold",
    "four-wrong-order",
)  # fmt: skip
WHOLE = [name for name in ENGINES if name != "four-wrong-order"]


@pytest.mark.parametrize("name", WHOLE)
def test_readings_and_words_are_those_of_the_truth(outcomes: dict[str, Outcome], name: str) -> None:
    outcome = outcomes[name]
    assert outcome.done is not None and outcome.done.complete
    by_cylinder = {row["cylinder"]: row for row in outcome.truth}
    for done in outcome.done.cylinders:
        row = by_cylinder[done.cylinder]
        for reading, key in ((done.as_found, "as_found_loss_pct"), (done.after_tap, "after_tap_loss_pct")):
            if reading is not None:
                assert abs(reading.loss_at_set_pct - row[key]) < 3 * reading.u_loss_pct + 0.05, (done.cylinder, key)
        word = outcome.words()[done.cylinder]
        assert word in (true_word(row["after_tap_loss_pct"]), Verdict.TOO_CLOSE)


@pytest.mark.parametrize("name", WHOLE)
def test_nothing_false_is_told(outcomes: dict[str, Outcome], name: str) -> None:
    assert outcomes[name].faults == ()
    taps = sum(done.taps for done in outcomes[name].done.cylinders) if outcomes[name].done else 0
    assert taps == 2 * len(outcomes[name].truth)
    assert outcomes[name].cues.count("tap") == taps
    assert outcomes[name].cues.count("crank-holds") == 1


def test_a_sound_engine_goes_back_together(outcomes: dict[str, Outcome]) -> None:
    outcome = outcomes["four-sound"]
    assert set(outcome.words().values()) == {Verdict.SOUND}
    assert outcome.judgement.action is Action.REASSEMBLE


def test_a_burnt_valve_is_found(outcomes: dict[str, Outcome]) -> None:
    outcome = outcomes["four-burnt-valve"]
    assert [c for c, word in outcome.words().items() if word is Verdict.INVESTIGATE] == [3]
    assert outcome.causes(3) == [Cause.EXHAUST_VALVE]
    assert outcome.judgement.action is Action.TAKE_APART
    assert "3" in outcome.judgement.advice


def test_worn_rings_are_found_in_all_cylinders(outcomes: dict[str, Outcome]) -> None:
    outcome = outcomes["four-worn-rings"]
    assert outcome.judgement.facts.comparison.all_high
    assert all(Cause.RINGS in outcome.causes(cylinder) for cylinder in (1, 2, 3, 4))
    assert outcome.judgement.action in (Action.TAKE_APART, Action.FIND_LEAK)


def test_a_head_gasket_between_neighbours_is_found(outcomes: dict[str, Outcome]) -> None:
    outcome = outcomes["four-head-gasket"]
    assert outcome.judgement.facts.comparison.high_pairs == ((2, 3),)
    assert outcome.causes(2) == outcome.causes(3) == [Cause.GASKET_BETWEEN]
    assert outcome.judgement.action is Action.TAKE_APART


def test_debris_that_taps_clear_ends_well(outcomes: dict[str, Outcome]) -> None:
    outcome = outcomes["four-debris"]
    (four,) = (one for one in outcome.judgement.facts.cylinders if one.cylinder == 4)
    assert (four.as_found.verdict, four.judgement.verdict) == (Verdict.INVESTIGATE, Verdict.SOUND)
    assert four.taps is not None and four.taps.verdict == "improved"
    assert outcome.judgement.action is Action.REASSEMBLE


def test_a_cold_engine_is_to_be_repeated_hot(outcomes: dict[str, Outcome]) -> None:
    assert outcomes["four-cold"].judgement.action is Action.REPEAT_HOT


def test_a_wrong_order_is_told_and_nothing_is_judged(outcomes: dict[str, Outcome]) -> None:
    outcome = outcomes["four-wrong-order"]
    assert outcome.faults.count("no-pressure") >= 1
    assert outcome.done is not None and not outcome.done.complete
    assert [done.cylinder for done in outcome.done.cylinders] == [1]
    assert outcome.judgement.action is Action.CANNOT_TELL
