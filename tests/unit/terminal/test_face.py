"""The live face: words carry the meaning, and what is old or absent never looks like a reading."""

from __future__ import annotations

from dataclasses import replace

import pytest

from daq.procedure.states import Phase
from daq.records import Session
from daq.sinks.terminal.face import Face, face_lines, large, state, wanted
from daq.sinks.terminal.sink import plain
from daq.units import PA_PER_PSI, PressureUnit

STEADY = Face(
    "garage", "invented four", 3, "as-found", True, 100 * PA_PER_PSI, 71.9 * PA_PER_PSI, 28.1, True, True, 0.0
)


def text(face: Face, width: int = 80, unit: PressureUnit = PressureUnit.PSI) -> str:
    return "\n".join(face_lines(face, unit, width))


def test_a_stable_reading_is_shown_with_what_to_do_next() -> None:
    shown = text(STEADY)
    for word in ("CYLINDER 3", "STABLE", "100.0 psi", "HELD", "71.9 psi", "TAP THE VALVES", "garage", "invented four"):
        assert word in shown
    for row in large("28.1"):
        assert row in shown


def test_the_unit_is_the_users() -> None:
    assert "689 kPa" in text(STEADY, unit=PressureUnit.KPA)


@pytest.mark.parametrize(
    ("change", "word", "line"),
    [
        ({"stable": False}, "SETTLING", "CAPTURED"),
        ({"held": False}, "NOT HELD", "SUPPLY IS NOT AT ITS SET POINT"),
        ({"phase": "wait-air"}, "NO AIR", "CONNECT CYLINDER 3"),
        ({"phase": "settle", "stable": False}, "SETTLING", "SETTLING, WAIT"),
        ({"phase": "resettle", "stable": False}, "SETTLING", "TAPPED"),
        ({"phase": "after-tap"}, "STABLE", "VENT"),
        ({"phase": "done", "cylinder": None}, "NO AIR", "ALL CYLINDERS DONE"),
        ({"phase": "cautions", "air_on": True}, "AIR ON", "AIR IS ON: VENT IT, THEN READ THE CAUTIONS"),
        ({"phase": "wait-air", "air_on": True}, "AIR ON", "VENT THE AIR. THEN CYLINDER 3"),
        ({"phase": "wait-air", "air_on": False}, "NO AIR", "CONNECT CYLINDER 3"),
        ({"phase": "done", "cylinder": None, "air_on": True}, "AIR ON", "ALL CYLINDERS DONE. VENT THE AIR"),
        ({"phase": "crank-moved", "air_on": True}, "ALARM", "CRANK MOVED: VENT"),
        ({"phase": "paused", "air_on": True}, "STABLE", "PAUSED. GO ON"),
        ({"phase": "paused", "air_on": False, "stable": False}, "NO AIR", "PAUSED. GO ON"),
        ({"age_s": 2.1}, "STALE", "OLD DATA"),
        ({"line_up": False}, "STALE", "NO BOARD"),
    ],
)
def test_each_state_has_its_word_and_its_line(change: dict[str, object], word: str, line: str) -> None:
    face = replace(STEADY, **change)
    assert state(face) == word
    assert line in wanted(face)


ENDED = Session(1, 60.0, "invented four", None, "done", None, "t", done=(1, 3, 4, 2), order=(1, 3, 4, 2))


@pytest.mark.parametrize(
    ("session", "line"),
    [
        (ENDED, "ALL CYLINDERS DONE"),
        (replace(ENDED, done=(1, 3, 2), skipped=(4,)), "TEST FINISHED. WITHOUT CYLINDER 4"),
        (replace(ENDED, done=(2,), skipped=(3,)), "TEST FINISHED. WITHOUT CYLINDERS 1, 3 AND 4"),
        (replace(ENDED, done=(1,), skipped=(3,), order=()), "TEST FINISHED. WITHOUT CYLINDER 3"),
        (replace(ENDED, done=(2,), order=tuple(range(1, 13))), "TEST FINISHED. WITHOUT 11 CYLINDERS"),
    ],
)
def test_a_test_that_left_cylinders_out_does_not_say_that_all_are_done(session: Session, line: str) -> None:
    face = STEADY.at(session)
    assert wanted(face) == line
    assert (face.engine, face.cylinder, face.phase) == ("invented four", None, "done")


@pytest.mark.parametrize("air_on", [True, False, None])
@pytest.mark.parametrize("phase", Phase)
def test_every_phase_has_words_and_no_air_where_none_should_be_goes_unsaid(phase: Phase, air_on: bool | None) -> None:
    face = replace(STEADY, phase=phase, air_on=air_on)
    assert wanted(face) not in ("", "WAITING") and "{" not in wanted(face)
    if air_on:
        assert state(face) != "NO AIR"
        assert ("VENT" in wanted(face)) is (phase not in ("pressurise", "settle", "resettle", "paused"))


@pytest.mark.parametrize(
    "change",
    [
        {"age_s": 9.0}, {"line_up": False}, {"phase": "wait-air"}, {"phase": "wait-air", "air_on": True},
        {"loss_pct": None},
    ],
)  # fmt: skip
def test_no_loss_is_shown_where_there_is_none(change: dict[str, object]) -> None:
    shown = text(replace(STEADY, **change))
    assert not all(row in shown for row in large("28.1"))


def test_not_a_number_is_no_reading() -> None:
    assert "nan" not in text(replace(STEADY, loss_pct=float("nan"))).lower()


@pytest.mark.parametrize("unknown", [None, float("nan"), float("inf")])
def test_a_pressure_that_is_not_known_is_a_dash(unknown: float | None) -> None:
    face = replace(STEADY, supply_gauge_pa=unknown, cylinder_gauge_pa=unknown, loss_pct=unknown)
    assert "SUPPLY             -  HELD" in text(face) and "nan" not in text(face) and "inf" not in text(face)
    assert plain(face, PressureUnit.PSI)[1:4] == ["SUPPLY - HELD", "CYLINDER SIDE -", "LOSS -.- %"]


@pytest.mark.parametrize("loss_pct", [-0.4, 0.0, 9.99, 100.0, 123.4])
def test_every_loss_can_be_drawn(loss_pct: float) -> None:
    assert len(face_lines(replace(STEADY, loss_pct=loss_pct), PressureUnit.PSI, 80)) == 5


@pytest.mark.parametrize("width", [30, 44, 54, 80, 200])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    assert max(map(len, face_lines(STEADY, PressureUnit.PSI, width))) <= width


def test_a_narrow_terminal_still_shows_all_words() -> None:
    assert "STABLE" in text(STEADY, 40) and "HELD" in text(STEADY, 40)


def test_digits_differ_from_each_other() -> None:
    assert len({tuple(large(digit)) for digit in "0123456789-.% "}) == 14
