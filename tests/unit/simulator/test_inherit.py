"""Scenarios that say only where they differ from another one."""

from __future__ import annotations

import pytest

from simulator.errors import ScenarioError
from simulator.inherit import merged
from simulator.scenario import load, parse


@pytest.mark.parametrize(
    ("base", "own", "result"),
    [
        ({"a": 1, "b": 2}, {"b": 3, "c": 4}, {"a": 1, "b": 3, "c": 4}),
        ({"a": {"x": 1, "y": 2}}, {"a": {"y": 3}}, {"a": {"x": 1, "y": 3}}),
        ({"a": {"x": 1}}, {"a": 5}, {"a": 5}),
        ({"a": [1, 2, 3]}, {"a": [4]}, {"a": [4]}),
        ({"a": [{"do": "x"}]}, {"a": [{"do": "y"}]}, {"a": [{"do": "y"}]}),
        (
            {"a": [{"number": 1, "x": 1}, {"number": 2, "x": 2}]},
            {"a": [{"number": 3, "x": 9}, {"number": 2, "y": 8}]},
            {"a": [{"number": 1, "x": 1}, {"number": 2, "x": 2, "y": 8}, {"number": 3, "x": 9}]},
        ),
        ({"a": [{"number": 1}]}, {"a": []}, {"a": []}),
        ({"a": [{"number": 1}]}, {"a": [{"number": 1}, {"number": 1}]}, {"a": [{"number": 1}, {"number": 1}]}),
        ({"a": [{"number": 1}]}, {"a": [{"number": [1]}]}, {"a": [{"number": [1]}]}),
    ],
)
def test_what_is_said_takes_the_place_of_what_was_said(base: dict, own: dict, result: dict) -> None:
    before = repr(base)
    assert merged(base, own) == result
    assert repr(base) == before


def test_a_file_may_be_like_one_that_is_itself_like_another() -> None:
    scenario = parse('like = "four-cold"\ntitle = "own"\n[bench]\nhose_cc = 31.0', "own.toml")
    cold, sound = load("four-cold"), load("four-sound")
    assert (scenario.title, scenario.bench.hose_cc, scenario.bench.wall_c) == ("own", 31.0, 10.0)
    assert scenario.condition == cold.condition != []
    assert scenario.cylinder == sound.cylinder and scenario.script == sound.script


def test_like_a_scenario_that_is_not_there() -> None:
    with pytest.raises(ScenarioError, match=r"own\.toml is like 'nope'") as caught:
        parse('like = "nope"\ntitle = "own"', "own.toml")
    assert "four-sound" in str(caught.value)


@pytest.mark.parametrize("value", ["3", "[1]", "{ a = 1 }"])
def test_like_something_that_is_no_name(value: str) -> None:
    with pytest.raises(ScenarioError, match=r"own\.toml is like"):
        parse(f"like = {value}", "own.toml")
