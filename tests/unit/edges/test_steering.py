"""The door for what an operator asks of a running test, and the plans that are made of requests."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from daq.config import Config, EngineSection, StorageSection
from daq.errors import BoretightError, DataError, UsageError
from daq.planning import misfits, plan_by_itself, plan_of, profile_of, request_from, request_of
from daq.procedure import EngineOrder, TestPlan, plan_from
from daq.procedure.plan import Temperature
from daq.records import Delivery, Mark, MarkKind, Session, TestStarted
from daq.steering import Steering

NOW_S = 1_767_225_600.0  # 2026-01-01T00:00:00Z
FOUR = TestPlan("a-four", EngineOrder("invented four", (1, 3, 4, 2)))


@pytest.fixture
def config(tmp_path: Path) -> Config:
    return Config.model_construct(storage=StorageSection(folder=tmp_path), engine=EngineSection(name="old one"))


def steering(phase: str = "wait-air") -> Steering:
    made = Steering(lambda text: FOUR.named(request_from(text).test or "b-four"), FOUR.engine)
    made.observe(Delivery((Session(1, 0.0, "invented four", 1, phase, 3),), {1: 0.0}))
    return made


# ---- the door


def test_a_mark_passes_as_it_is() -> None:
    mark = Mark(5.0, MarkKind.NEXT)
    assert steering().checked(mark) == mark
    assert Steering(lambda text: FOUR, FOUR.engine).checked(mark) == mark, "before anything is known of the test"


@pytest.mark.parametrize("kind", [MarkKind.NOTE, MarkKind.HEARD, MarkKind.ACKNOWLEDGE])
def test_words_command_no_terminal(kind: str) -> None:
    """They are one line of what can be printed."""
    passed = steering("cautions").checked(Mark(5.0, kind, "exhaust clear \x1b[2J\x07of\nit \u202e\ud800"))
    assert passed.text == "exhaust clear  [2J of it"


def test_a_start_takes_the_whole_plan_along() -> None:
    mark = steering().checked(Mark(5.0, MarkKind.START, '{"test": "c-four"}'))
    assert plan_from(mark.text) == FOUR.named("c-four")


@pytest.mark.parametrize(
    ("phase", "kind", "text", "reason"),
    [
        ("done", "pause", "", "`pause` means nothing now: the test is done"),
        ("settle", "go-on", "", "`go-on` means nothing now: the reading settles"),
        ("paused", "next", "", "the test is paused"),
        ("cautions", "skip", "", "cautions have not been acknowledged"),
        ("settle", "cylinder", "9", "no cylinder 9; it has 1, 2, 3, 4"),
        ("settle", "cylinder", "x", "Which cylinder"),
        ("settle", "cylinder", "1" * 4000, "Which cylinder"),
        ("settle", "heard", "7: exhaust", "no cylinder 7"),
        ("settle", "heard", "4: next-cylinder 4", "leaks into itself"),
        ("settle", "rocked", "7: same", "no cylinder 7"),
        ("done", "rocked", "3: same", "`rocked` means nothing now: the test is done"),
        ("cautions", "rocked", "3: same", "cautions have not been acknowledged"),
        ("settle", "rocked", "3 maybe", "Say `3: changed` or `3: same`"),
        ("settle", "heard", "next-cylinder 7", "no cylinder 7"),
        ("settle", "heard", "elsewhere-else", "Where was it heard"),
        ("settle", "start", '{"colour": "red"}', "colour"),
        ("settle", "start", "[[", "no request"),
        ("settle", "start", "[" * 100_000, "no request"),
        ("settle", "start", '{"test": "last"}', "test: `last` is the newest test"),
    ],
)
def test_what_makes_no_sense_now_is_refused_with_the_reason(phase: str, kind: str, text: str, reason: str) -> None:
    with pytest.raises(UsageError) as refused:
        steering(phase).checked(Mark(5.0, kind, text))
    assert reason in str(refused.value)


def test_undo_is_refused_where_there_is_nothing_to_take_back() -> None:
    door, undo = steering(), Mark(5.0, MarkKind.UNDO)
    assert door.checked(undo) == undo
    for phase, why in (("wait-air", "no result, skip or finding"), ("settle", "under air only a finding")):
        door.recall([Session(1, 1.0, "invented four", 1, phase, 3, can_undo=False)])
        with pytest.raises(UsageError, match=why) as refused:
            door.checked(undo)
        assert "undo" not in refused.value.todo and "next" in refused.value.todo, "what can be said instead"
    with pytest.raises(UsageError, match="no result, skip or finding"):
        Steering(lambda text: FOUR, FOUR.engine).checked(undo)


def test_the_cylinders_are_those_of_the_test_that_runs() -> None:
    door = steering()
    one = TestPlan("one", EngineOrder("single", (1,)))
    door.observe(Delivery((TestStarted(1, 0.0, "one", "single", one.to_text()),), {1: 0.0}))
    with pytest.raises(UsageError, match="it has 1"):
        door.checked(Mark(5.0, MarkKind.CYLINDER, "2"))


def test_after_the_end_a_cylinder_is_of_the_engine_whose_test_begins() -> None:
    door = steering("done")
    one = TestPlan("one", EngineOrder("single", (1,)))
    door.recall([TestStarted(1, 0.0, "one", "single", one.to_text())])
    mark = Mark(5.0, MarkKind.CYLINDER, "4")
    assert door.checked(mark) == mark
    with pytest.raises(UsageError, match="it has 1"):
        door.checked(Mark(5.0, MarkKind.HEARD, "4: exhaust"))


def test_a_name_is_taken_once_a_test_was_started_or_began() -> None:
    door, start = steering(), Mark(5.0, MarkKind.START, '{"test": "c-four"}')
    door.checked(start)
    with pytest.raises(UsageError, match="There is a test 'c-four' already"):
        door.checked(start)
    door.recall([TestStarted(1, 0.0, "one", "single", FOUR.named("one").to_text())])
    with pytest.raises(UsageError, match="There is a test 'one' already"):
        door.checked(replace(start, text='{"test": "one"}'))


@pytest.mark.parametrize("name", [" ", "spring ", " spring", "a\nb", "a\u202eb", "last", "x" * 49])
def test_a_test_must_be_asked_for_by_its_name(name: str) -> None:
    with pytest.raises(UsageError, match="no request for a test"):
        request_of({"test": name})


# ---- the plan


def test_a_plan_knows_the_engine_and_what_was_said(config: Config) -> None:
    request = request_of({"engine": "v8", "temperature": "hot", "hours": 812.5, "acknowledged_by": "kim", "by": "lee"})
    plan = plan_of(config, request, NOW_S)
    assert plan.test == "20260101t000000z-v8"
    assert (plan.temperature, plan.acknowledged, plan.explicit) == (Temperature.HOT, "kim", True)
    assert sum(plan.turn_deg) == pytest.approx(720.0) and len(plan.turn_deg) == 8
    assert plan.about["hours"] == 812.5 and plan.about["by"] == "lee"
    assert profile_of(plan_from(plan.to_text())).banks, "the whole profile travels in the text"


def test_without_a_word_it_is_a_test_of_the_configured_engine(config: Config) -> None:
    plan = plan_of(config, request_from(""), NOW_S)
    assert (plan.engine.name, plan.temperature, plan.acknowledged) == ("old one", Temperature.UNKNOWN, "")


def test_an_engine_that_there_is_not_is_refused(config: Config) -> None:
    with pytest.raises(BoretightError, match="no-such"):
        plan_of(config, request_of({"engine": "no-such"}), NOW_S)


def test_a_test_that_begins_by_itself_was_not_acknowledged_by_anybody(config: Config) -> None:
    plan = plan_by_itself(config, "boot-1")
    assert (plan.test, plan.explicit, plan.acknowledged) == ("boot-1", False, "")
    assert profile_of(plan).name == "old one"


def test_a_bench_that_is_not_what_the_profile_asks_for_is_told(config: Config) -> None:
    instrument = config.measuring_instrument()
    aircraft = profile_of(plan_of(config, request_of({"engine": "flat-six"}), NOW_S))
    remarks = list(misfits(aircraft, instrument))
    assert len(remarks) == 2 and "80.0 psi" in remarks[0] and "1.52 mm" in remarks[1]
    assert not list(misfits(profile_of(plan_of(config, request_of({"engine": "inline-four"}), NOW_S)), instrument))


@pytest.mark.parametrize(
    "broken",
    [
        "",
        "null",
        "[]",
        '{"test": "x"}',
        '{"test": "", "engine": {"name": "x", "firing_order": [1]}}',
        '{"test": "x", "engine": {"name": "x", "firing_order": [1, 1]}}',
        '{"test": "x", "engine": {"name": "x", "firing_order": [1, 2]}, "turn_deg": [360]}',
        '{"test": "x", "engine": {"name": "x", "firing_order": [1]}, "temperature": "warm"}',
        json.dumps({"test": "x" * 65, "engine": {"name": "x", "firing_order": [1]}}),
        "[" * 100_000,
    ],
)
def test_a_text_that_is_no_plan_is_refused(broken: str) -> None:
    with pytest.raises((UsageError, DataError)):
        plan_from(broken)
