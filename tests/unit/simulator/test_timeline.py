"""From a scenario to the moments at which something is done."""

from __future__ import annotations

import pytest

from simulator.actions import Action, Tap
from simulator.errors import ScenarioError
from simulator.scenario import parse
from simulator.timeline import actions_of, timeline_of

TWO = """
title = "t"
engine = { name = "invented", order = [2, 1] }
cylinder = [{ number = 1 }, { number = 2 }]
"""
SCRIPT = """
[script]
lead_in_s = 1
connect_s = 2
air_ramp_s = 0.5
hold_s = 6
after_tap_s = 4
vent_s = 3
tap = { count = 2, every_s = 1.5 }
cylinder = [{ number = 1, hold_s = 10, tap = { count = 0 } }]
"""


def actions(tables: str) -> list[tuple[float, str, Action]]:
    return [(at_s, action.do, action) for at_s, action in actions_of(parse(TWO + tables, "test"))]


def test_script_goes_through_the_cylinders_in_the_order_of_the_engine() -> None:
    rows = actions(SCRIPT)
    assert [(at_s, do) for at_s, do, _ in rows] == [
        (1.0, "connect"), (3.0, "air"), (9.5, "tap"), (16.5, "vent"),
        (19.5, "connect"), (21.5, "air"), (32.0, "tap"), (36.0, "vent"),
    ]  # fmt: skip
    assert [action.cylinder for _, do, action in rows if do == "connect"] == [2, 1]
    assert [action.count for _, do, action in rows if do == "tap"] == [2, 0]
    assert timeline_of(parse(TWO + SCRIPT, "test")).ends_s == pytest.approx(36.0 + 3.0 + 1.0)


def test_actions_hang_on_the_start_on_each_other_or_on_the_air() -> None:
    rows = actions(
        """action = [
        { do = "vent", at_s = 5 }, { do = "reset", after_s = 2 }, { do = "corrupt" },
        { do = "garbage", after_air_on = 1, after_s = 0.5 }, { do = "set_point", to_psi = 20, after_s = 1 },
        ]"""
        + SCRIPT
    )
    assert [at_s for at_s, _, _ in rows] == sorted(at_s for at_s, _, _ in rows)
    own = [(at_s, do) for at_s, do, _ in rows if do not in ("connect", "air", "tap") and at_s not in (16.5, 36.0)]
    assert own == [(5.0, "vent"), (7.0, "reset"), (7.0, "corrupt"), (22.0, "garbage"), (23.0, "set_point")]


def test_a_blow_has_a_beginning_and_an_end() -> None:
    scenario = parse(TWO + 'action = [{ do = "tap", at_s = 2, count = 3, every_s = 0.5, open_ms = 20 }]', "test")
    assert [cue.at_s for cue in timeline_of(scenario).cues] == pytest.approx([2.0, 2.02, 2.5, 2.52, 3.0, 3.02])


def test_cues_are_in_the_order_of_time() -> None:
    scenario = parse(TWO + 'action = [{ do = "unplug", at_s = 2, for_s = 9 }, { do = "vent", at_s = 1 }]', "test")
    assert [cue.at_s for cue in timeline_of(scenario).cues] == [1.0, 2.0, 11.0]
    assert timeline_of(scenario).ends_s == 12.0


def test_endless_has_no_end() -> None:
    assert timeline_of(parse(TWO.replace('"t"', '"t"\nendless = true') + SCRIPT, "test")).ends_s is None


def test_air_that_is_never_opened() -> None:
    with pytest.raises(ScenarioError, match="waits for the air on cylinder 2"):
        timeline_of(parse(TWO + 'action = [{ do = "vent", after_air_on = 2 }]', "test"))


def test_taps_of_the_script_are_mallet_blows_by_default() -> None:
    (tap, _) = (action for _, _, action in actions("[script]\n") if isinstance(action, Tap))
    assert (tap.count, tap.path, tap.clears) == (2, "exhaust", 0.0)


def test_an_action_that_does_not_say_what_it_does_cannot_be_made() -> None:
    class Idle(Action):
        """Says nothing."""

    with pytest.raises(TypeError, match="abstract"):
        Idle()  # type: ignore[abstract]
