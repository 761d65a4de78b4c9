"""What is known of benches from messages alone: never mixed up, and old or offline looks so."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from daq.cli.watch_sheet import row_words
from daq.cli.watch_wall import MOST_BENCHES, MOST_TEXT, Line, Wall
from daq.records import (
    AirChange,
    AirState,
    Cue,
    CueLevel,
    CylinderJudged,
    Expectation,
    Fault,
    Finding,
    Gap,
    Judged,
    Marked,
    Place,
    Strength,
    TakenBack,
    TapEffect,
    TapVerdict,
    TestStarted,
    Withdrawn,
)
from tests.suites.deliveries import PLAN
from tests.unit.cli.watch_scenes import LIVE, STATUS, Speaker, captured

WATCH, SOUND = Judged(12.5, 1.0, "watch", 0.96), Judged(6.04, 0.2, "sound", 0.9999)
JUDGED = CylinderJudged(1, 12.0, "spring", 3, WATCH, SOUND, "common practice", 10.0, 15.0)


def texts(lines: list[Line]) -> list[str]:
    return [line.text for line in lines]


def bench(wall: Wall, name: str = "a", boot: str = "boot1", now_s: float = 1.0, loss_pct: float = 10.0) -> Speaker:
    """A bench that is online, its line up, at cylinder 2 of a test, with live readings."""
    speaker = Speaker(wall, name, boot)
    speaker.sends("availability", {"availability": "online"})
    speaker.says("status", now_s, **STATUS)
    speaker.session(2, "as-found", now_s)
    speaker.live(now_s, loss_pct=loss_pct)
    return speaker


def wall_of_two() -> Wall:
    wall = Wall()
    bench(wall, "b", loss_pct=20.0)
    bench(wall, "a")
    return wall


def rows(wall: Wall) -> list[tuple[str, ...]]:
    (view,) = wall.views(1.0)
    return [row_words(row) for row in view.run.sheet.rows()]


# ---- benches and runs


def test_each_bench_has_its_own_face() -> None:
    views = wall_of_two().views(1.5)
    assert [(view.title, view.face.loss_pct, view.state) for view in views] == [
        ("a", 10.0, "STABLE"),
        ("b", 20.0, "STABLE"),
    ]


def test_a_bench_that_falls_silent_goes_stale_alone() -> None:
    wall = wall_of_two()
    Speaker(wall, "a").live(10.0)
    assert [view.state for view in wall.views(10.5)] == ["STABLE", "STALE"]


def test_offline_and_a_dead_line_say_so() -> None:
    wall = wall_of_two()
    assert texts(Speaker(wall, "a").sends("availability", {"availability": "offline"})) == [
        "OFFLINE: the daemon of this bench does not run"
    ]
    said = Speaker(wall, "b").says("status", 1.2, **STATUS | {"line": "searching", "line_detail": "no port"})
    assert texts(said) == ["Line searching: no port"]
    a, b = wall.views(1.5)
    assert (a.state, a.wanted) == ("OFFLINE", "OFFLINE: THE DAEMON OF THIS BENCH DOES NOT RUN")
    assert (b.state, b.wanted) == ("STALE", "NO BOARD ON THE LINE")
    assert texts(Speaker(wall, "a").sends("availability", {"availability": "online"})) == ["Online"]
    assert wall.views(1.5)[0].state == "STABLE"


def test_a_broker_that_is_away_makes_everything_stale() -> None:
    wall = wall_of_two()
    wall.broker = False
    assert {(view.state, view.wanted) for view in wall.views(1.5)} == {("STALE", "THE BROKER IS AWAY, TRYING AGAIN")}


def test_a_retained_word_alone_is_no_reading() -> None:
    wall = Wall()
    Speaker(wall, "a").sends("availability", {"availability": "online"})
    (view,) = wall.views(0.1)
    assert (view.face.loss_pct, view.state, view.captured) == (None, "STALE", "No stable reading yet")


def test_two_daemons_under_one_name_are_shown_apart() -> None:
    wall = Wall()
    first = bench(wall, boot="one", now_s=1.0, loss_pct=1.0)
    first.event(captured(2, 1.0, t_s=1.0))
    first.judged(2, 1.0)
    second = bench(wall, boot="two", now_s=1.1, loss_pct=2.0)
    first.event(captured(2, 5.0, t_s=1.2))
    first.judged(2, 5.0)
    second.judged(3, 7.0)
    views = wall.views(1.5)
    seen = [[row_words(row)[:2] for row in view.run.sheet.rows()] for view in views]
    assert seen == [[("2 now", "1.0 ± 1.0 %"), ("3", "7.0 ± 1.0 %")], [("2 now", "5.0 ± 1.0 %")]]
    assert [(view.title, view.face.loss_pct) for view in views] == [
        ("a (run two, one of several)", 2.0), ("a (run one, one of several)", 1.0),
    ]  # fmt: skip
    assert [view.run.newest is None for view in views] == [True, False]
    assert [view.title for view in wall.views(3.05)] == ["a"], "the first one is silent now"


def test_a_daemon_that_began_anew_goes_on_with_its_cylinders() -> None:
    wall = Wall()
    first = bench(wall, boot="one")
    first.session(4, "wait-air", done=(2,))
    first.judged(2, 6.0)
    late = first.body(replace(JUDGED, cylinder=4, after_tap=None), "verdict/4")
    second = bench(wall, boot="two", now_s=60.0)
    second.session(1, "wait-air", 60.0, done=(2, 4))
    assert [row[:2] for row in rows_at(wall, 60.5)] == [("2 done", "6.0 ± 1.0 %"), ("4 done", ""), ("1 now", "")]
    first.sends(*late, 60.2)
    assert [row[:2] for row in rows_at(wall, 60.5)][1] == ("4 done", "12.5 ± 1.0 %"), "left behind by the first run"


def rows_at(wall: Wall, now_s: float) -> list[tuple[str, ...]]:
    (view,) = wall.views(now_s)
    return [row_words(row) for row in view.run.sheet.rows()]


def test_a_message_under_the_name_of_another_bench_is_passed_over() -> None:
    wall = wall_of_two()
    Speaker(wall, "a").says("live", 1.2, **LIVE | {"bench": "b", "loss_pct": 99.0})
    assert [view.face.loss_pct for view in wall.views(1.5)] == [10.0, 20.0]


def test_there_is_an_end_to_benches_and_runs() -> None:
    wall = Wall()
    for number in range(MOST_BENCHES + 5):
        Speaker(wall, f"b{number}").sends("availability", {"availability": "online"})
        Speaker(wall, f"b{number}").says("status", 1.0, **STATUS)
    assert len(wall.views(1.0)) == MOST_BENCHES
    for number in range(50):
        Speaker(wall, "b0", f"boot{number}").live(1.0 + number / 100)
    assert len([view for view in wall.views(1.5) if view.face.bench == "b0"]) == 3


# ---- what happened


def test_a_message_that_comes_twice_is_told_once_and_one_that_did_not_come_as_missed() -> None:
    wall = Wall()
    speaker = bench(wall)
    first, *others = (speaker.body(Gap(1, 3.0, n)) for n in (1, 2, 3, 4))
    assert texts(speaker.sends(*first)) == ["1 samples were lost on the line"]
    assert speaker.sends(*first) == []
    assert texts(speaker.sends(*others[2])) == ["MISSED: 2 messages did not come", "4 samples were lost on the line"]
    assert speaker.sends(*others[0]) == []
    reading = captured(2, 6.0)
    assert len(speaker.event(reading)) == 1, "each stream counts for itself"


def test_a_line_says_which_bench_and_when() -> None:
    speaker = bench(Wall())
    (line,) = speaker.event(Marked(1, 12.5, "note", "oil cap off", "operator"))
    assert (line.bench, line.text) == ("a", "Mark: note oil cap off")
    assert line.at is not None and line.at.timestamp() == 1_767_225_612.5


def test_cue_faults_and_newest_reading_stand_until_there_are_others() -> None:
    wall = Wall()
    speaker = bench(wall)
    speaker.event(Cue(1, 1.0, "tap-now", CueLevel.DO, "Tap the valves now."))
    speaker.event(Fault(1, 2.0, "hose off", "0.2 psi", "Connect it."))
    speaker.event(Fault(1, 2.0, "line empty", "0.1 psi", "Look."))
    speaker.event(captured(2, 6.3))
    speaker.judged(2, 6.0)
    (view,) = wall.views(1.5)
    assert (view.run.cue, list(view.run.faults), view.captured) == (
        "Tap the valves now.", ["hose off", "line empty"], "Captured 6.0 ± 1.0 %",
    )  # fmt: skip
    speaker.event(Fault(1, 3.0, "hose off", "it holds", "", over=True))
    speaker.session(4, "settle")
    (view,) = wall.views(1.5)
    assert (list(view.run.faults), view.captured) == (["line empty"], "Newest stable reading: cylinder 2, 6.3 ± 1.0 %")


def test_a_test_that_was_ended_says_what_was_left_out() -> None:
    wall = Wall()
    bench(wall).session(None, "done", done=(1, 2), skipped=(3,), order=(1, 3, 4, 2))
    assert wall.views(1.5)[0].wanted == "TEST FINISHED. WITHOUT CYLINDERS 3 AND 4"


def test_air_that_is_still_on_is_told_before_the_next_cylinder() -> None:
    wall = Wall()
    speaker = bench(wall)
    speaker.session(4, "wait-air")
    seen = []
    for state in (AirState.ON, AirState.OFF):
        speaker.event(AirChange(1, 1.0, state, 5e5))
        (view,) = wall.views(1.5)
        seen.append((view.state, view.wanted))
    assert seen == [
        ("AIR ON", "VENT THE AIR. THEN CYLINDER 4"), ("NO AIR", "CONNECT CYLINDER 4, CRANK HELD, THEN AIR"),
    ]  # fmt: skip


def test_where_a_fill_is_expected_to_end_is_said_until_it_is_known() -> None:
    wall = Wall()
    speaker = bench(wall)
    speaker.session(2, "settle")
    assert speaker.event(Expectation(1, 1.0, 12.4, 11.9, 12.9, 95e-6, 2e-6)) == []
    assert wall.views(1.5)[0].wanted == "SETTLING, EXPECT 12.4 % (11.9 TO 12.9)"
    speaker.event(captured(2, 12.4))
    assert wall.views(1.5)[0].wanted == "SETTLING, WAIT"


# ---- the cylinders of the test


def test_the_cylinders_stand_in_the_order_of_the_test() -> None:
    wall = Wall()
    speaker = bench(wall)
    speaker.judged(1, 28.9)
    speaker.event(TapEffect(1, 15.0, 1, 2, 28.9, 7.0, -21.9, 0.05, TapVerdict.IMPROVED, 0.999))
    speaker.judged(1, 28.9, 7.0)
    speaker.event(Finding(1, 17.0, 1, 1, Place.NEXT_CYLINDER, Strength.FAINT, 3, ""))
    speaker.session(4, "settle", done=(1,), skipped=(3,), order=(1, 3, 4, 2))
    assert rows(wall) == [
        ("1 done", "28.9 ± 1.0 %", "7.0 ± 1.0 %", "sound, 97 %", "2 taps, better; next cylinder 3, faint"),
        ("3 left out", "", "", "", ""), ("4 now", "", "", "", ""), ("2", "", "", "", ""),
    ]  # fmt: skip
    speaker.event(Withdrawn(1, 18.0, TakenBack.FINDING, 1, 1, "undone"))
    assert rows(wall)[0][4] == "2 taps, better"
    speaker.judged(1, None)
    assert rows(wall)[0] == ("1 done", "", "", "", "")


def test_a_reading_that_is_told_again_does_not_take_the_place_of_what_counts() -> None:
    wall = Wall()
    speaker = bench(wall)
    speaker.event(captured(2, 28.9))
    speaker.judged(2, 28.9)
    speaker.event(captured(2, 29.6, t_s=13.0))
    assert rows(wall)[0][:3] == ("2 now", "28.9 ± 1.0 %", "")
    assert wall.views(1.5)[0].captured == "Captured 28.9 ± 1.0 %"


def test_who_comes_late_can_draw_the_whole_list_from_one_message() -> None:
    wall = Wall()
    Speaker(wall, "a").session(4, "wait-air", next_cylinder=2, done=(1,), skipped=(3,), order=(1, 3, 4, 2))
    assert [row[0] for row in rows(wall)] == ["1 done", "3 left out", "4 now", "2"]


def test_another_test_begins_without_the_cylinders_of_the_last() -> None:
    wall = Wall()
    speaker = bench(wall)
    speaker.judged(2, 28.9)
    speaker.event(TestStarted(1, 0.5, "summer", "invented four", PLAN.to_text()))
    speaker.session(1, "wait-air", test="summer", order=(1, 3, 4, 2))
    assert rows(wall) == [("1 now", "", "", "", ""), *((number, "", "", "", "") for number in "342")]


# ---- verdicts


def test_who_comes_late_sees_the_verdicts_and_what_they_speak_of() -> None:
    wall = Wall()
    speaker = Speaker(wall, "a")
    speaker.verdict(JUDGED)
    speaker.verdict(replace(JUDGED, cylinder=1, after_tap=None))
    speaker.verdict(replace(JUDGED, cylinder=5, as_found=replace(WATCH, verdict="too close to call"), after_tap=None))
    speaker.verdict(replace(JUDGED, cylinder=4, test="winter"))
    speaker.session(2, "settle", next_cylinder=4, done=(3, 1, 5))
    assert rows(wall) == [
        ("3 done", "12.5 ± 1.0 %", "6.04 ± 0.20 %", "sound, > 99 %", ""),
        ("1 done", "12.5 ± 1.0 %", "", "watch, 96 %", ""),
        ("5 done", "12.5 ± 1.0 %", "", "too close to call", ""),
        ("2 now", "", "", "", ""),
        ("4", "", "", "", ""),
    ]
    speaker.session(3, "wait-air", test="summer")
    assert rows(wall)[0] == ("3 now", "", "", "", ""), "another test"


def test_a_verdict_is_told_once_and_one_of_another_test_is_not() -> None:
    speaker = bench(Wall())

    def told(verdict: CylinderJudged) -> list[str]:
        return texts(speaker.verdict(verdict))

    assert told(JUDGED) == ["CYLINDER 3 after taps: SOUND (probability 100%)"]
    assert told(JUDGED) == [], "as when the broker is there again"
    assert told(replace(JUDGED, segment=0, t_s=0.0)) == [], "as by a daemon that goes on with the test"
    assert told(replace(JUDGED, test="winter")) == []
    assert told(replace(JUDGED, as_found=None, after_tap=None)) == []
    assert told(replace(JUDGED, after_tap=None)) == ["CYLINDER 3 as found: WATCH (probability 96%)"]


# ---- strangers


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("live", {"supply_gauge_pa": "much"}),
        ("live", {"loss_pct": [1.0]}),
        ("live", {"loss_pct": float("nan")}),
        ("live", {"cylinder_gauge_pa": 10**400}),
        ("live", {"stable": "no"}),
        ("live", {"boot": None}),
        ("live", {"seq": "3"}),
        ("session", {"phase": ["settle"]}),
        ("session", {"cylinder": {}}),
        ("session", {"done": "1 2 x"}),
        ("session", {"order": "1-2-x"}),
        ("status", {"line": None}),
        ("describe", {"set_point_pa": "x"}),
        ("event", {"kind": ["tap"]}),
        ("event", {"kind": "cue", "text": "?"}),
        ("reading", {"cylinder": "four"}),
        ("last/x", {}),
        ("verdict/3", {"cylinder": 3, "as_found_verdict": ["sound"]}),
        ("later-invention", {}),
        ("", {}),
    ],
)
def test_a_strange_message_changes_nothing(name: str, content: dict[str, Any]) -> None:
    wall = wall_of_two()
    before = [(view.face, view.run.cue, view.run.describe) for view in wall.views(1.5)]
    for stranger in ("a", "c"):
        full = LIVE | {"engine": "x", "cylinder": 1, "phase": "settle"} | content
        assert Speaker(wall, stranger).says(name, 1.2, **full) == []
    assert [(view.face, view.run.cue, view.run.describe) for view in wall.views(1.5)] == before


def test_an_unknown_phase_is_no_end() -> None:
    wall = Wall()
    bench(wall).session(2, "later-invention")
    (view,) = wall.views(1.5)
    assert (view.wanted, view.captured) == ("WAITING", "No stable reading yet")


def test_text_of_strangers_has_no_control_characters_and_an_end() -> None:
    wall = Wall()
    speaker = bench(wall)
    name, mark = speaker.body(Marked(1, 1.0, "note", "", "operator"))
    (line,) = speaker.sends(name, mark | {"text": "a\x1b[2Jb\nc\ud800" + "x" * 1000})
    assert line.text.startswith("Mark: note a\ufffd[2Jb c\ufffdxx") and len(line.text) < MOST_TEXT + 20
    for name in ("a\x1b", "A", "a b", "", "x" * 33):
        assert wall.take(f"boretight/v1/{name}/availability", {"availability": "online"}, 0.0) == []
    speaker.sends("availability", {"availability": "\x1b[2J"})
    assert [view.title for view in wall.views(1.5)] == ["a"]
