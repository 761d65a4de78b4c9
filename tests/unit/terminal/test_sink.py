"""The terminal as a sink: what happened is said in sentences, piped output has no tricks in it."""

from __future__ import annotations

import asyncio
import io
from dataclasses import replace

import numpy as np
import pytest

from daq.records import (
    AirChange,
    AirState,
    BadLines,
    Board,
    BoardFault,
    CylinderDone,
    CylinderJudged,
    Delivery,
    Event,
    Expectation,
    Fault,
    Gap,
    Judged,
    LineFormat,
    LinkChange,
    Marked,
    Readings,
    Record,
    Restarted,
    Session,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TapEffect,
    TapVerdict,
    TestDone,
    ZeroCheck,
)
from daq.sinks.terminal import TerminalSink, sentence
from daq.units import PA_PER_PSI, PressureUnit

PSI = PressureUnit.PSI
READING = StableReading(
    1, 9.0, 1.5, 100 * PA_PER_PSI, 72 * PA_PER_PSI, 28.0, 0.58, 28.04, 29.0, 1.1, 7e-7, 1e-3, 1e-3, 1e-3, "c", 3,
    "as-found",
)  # fmt: skip
JUDGED = CylinderJudged(
    1, 9.0, "spring", 3, Judged(12.5, 1.0, "watch", 0.96), None, "common practice", 10.0, 15.0
)  # fmt: skip
BOARD = Board(LineFormat.FRAMED, 16, maker="invented", model="bench", serial="42")


def readings(loss_pct: float, stable: bool = True) -> Readings:
    one, yes = np.array([1.0]), np.array([True])
    return Readings(
        1, one, one * 100 * PA_PER_PSI, one * 72 * PA_PER_PSI, one * loss_pct, one, one, one, yes, yes & stable,
        np.array([0]),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (READING, "CYLINDER 3 as found: 28.0 % +-1.2"),
        (Tap(1, 9.0, 8.0, 12.64 * PA_PER_PSI, 0.44), "fell by 12.6 psi and recovered in 0.4 s"),
        (SupplyChange(1, 1.0, SupplyState.LOST, 92 * PA_PER_PSI, 0.0, "droop"), "Supply lost (droop) at 92.0 psi"),
        (SupplyChange(1, 1.0, SupplyState.HELD, 100 * PA_PER_PSI, 0.0, ""), "Supply holds 100.0 psi"),
        (AirChange(1, 1.0, AirState.ON, 0.0), "Air is on"),
        (AirChange(1, 1.0, AirState.OFF, 0.0), "Vented"),
        (CylinderDone(1, 1.0, 3, READING, READING, 2), "28.0 % as found, 28.0 % after 2 taps"),
        (CylinderDone(1, 1.0, 3, READING, None, 0), "CYLINDER 3 DONE: 28.0 % as found"),
        (TestDone(1, 1.0, "invented four", ()), "TEST DONE"),
        (Gap(1, 1.0, 7), "7 samples were lost"),
        (BadLines(1, 1.0, {"bad-crc": 2, "oversize": 1}, b"x"), "2 bad-crc, 1 oversize"),
        (Restarted(2, 0.0, "watchdog", 3), "restarted (watchdog)"),
        (LinkChange(1, 0.0, True, "No checksum.", BOARD), "invented bench 42 (16 bit). No checksum."),
        (LinkChange(1, 0.0, False, "cable", BOARD), "Line lost: cable"),
        (BoardFault(1, 0.0, "reference-low", "The sensor supply sags."), "reference-low. The sensor supply sags."),
        (
            TapEffect(1, 9.0, 3, 2, 14.0, 6.0, -8.0, 0.05, TapVerdict.IMPROVED, 0.999),
            "BETTER after 2 taps: -8.00 points +-0.10 (probability 100%)",
        ),
        (JUDGED, "CYLINDER 3 as found: WATCH (probability 96%)"),
        (replace(JUDGED, after_tap=Judged(10.1, 1.1, "too close to call", 0.6)), "after taps: TOO CLOSE TO CALL"),
        (Expectation(1, 2.0, 12.4, 11.9, 12.9, 9e-5, 2e-6), "expect 12.4 % (11.9 to 12.9), not stable yet"),
        (Fault(1, 2.0, "hose off", "It fell.", "Connect it."), "LOOK: hose off. It fell. Connect it."),
        (Fault(1, 2.0, "hose off", "It is back.", "", True), "Over: hose off. It is back."),
        (ZeroCheck(1, 2.0, 9.0, 9.0, False, "too far"), "Zero NOT adjusted: too far"),
        (replace(READING, expanded_u_loss_pct=0.15), "28.04 % +-0.15"),
        (Marked(1, 0.0, "note", "hiss at the dipstick", "operator"), "note hiss at the dipstick"),
    ],
)
def test_each_event_has_its_sentence(event: Event, words: str) -> None:
    assert words in (sentence(event, PSI) or "")


def test_the_state_of_the_test_is_no_news() -> None:
    assert sentence(Session(1, 0.0, "x", 1, "settle", 3), PSI) is None


def shown(*records: Record, screen: bool = False) -> str:
    out = io.StringIO()

    async def run() -> None:
        sink = TerminalSink("garage", PSI, out, screen)
        await sink.open()
        await sink.write(Delivery(tuple(records), {1: 1_700_000_000.0}))
        await sink.close()

    asyncio.run(run())
    return out.getvalue()


def test_a_pipe_gets_plain_lines() -> None:
    text = shown(LinkChange(1, 0.0, True, "", BOARD), Session(1, 0.0, "x", 3, "as-found", 4), readings(28.04))
    assert "\x1b" not in text
    assert "CYLINDER 3 | SUPPLY 100.0 psi HELD | CYLINDER SIDE 72.0 psi | LOSS 28.0 % | STABLE" in text


def test_a_screen_gets_the_large_face() -> None:
    text = shown(
        LinkChange(1, 0.0, True, "", BOARD), Session(1, 0.0, "x", 3, "as-found", 4), readings(28.04), screen=True
    )
    assert "█" in text and "CAPTURED" in text


def test_a_test_that_was_ended_says_what_was_left_out() -> None:
    ended = Session(1, 0.0, "x", None, "done", None, done=(1,), skipped=(3,), order=(1, 3))
    assert ">> TEST FINISHED. WITHOUT CYLINDER 3" in shown(TESTED[0], ended, TESTED[2], screen=True)


def test_air_that_is_still_on_is_told_before_the_next_cylinder() -> None:
    waiting = (TESTED[0], Session(1, 0.0, "x", 4, "wait-air", None), TESTED[2])
    assert "AIR ON" in (still := shown(AirChange(1, 1.0, AirState.ON, 5e5), *waiting, screen=True))
    assert ">> VENT THE AIR. THEN CYLINDER 4" in still and "28.0" not in still
    assert ">> CONNECT CYLINDER 4" in shown(AirChange(1, 1.0, AirState.OFF, 0.0), *waiting, screen=True)


def test_no_supply_shows_no_loss() -> None:
    text = shown(Session(1, 0.0, "x", 3, "as-found", 4), readings(float("nan")))
    assert "LOSS -.- %" in text


TESTED = (LinkChange(1, 0.0, True, "", BOARD), Session(1, 0.0, "x", 3, "as-found", 4), readings(28.04))


def shown_later(*at_s: float, screen: bool = False, then: tuple[Record, ...] = ()) -> str:
    """What is printed at these times after a stable reading, the board being silent but for `then`."""
    out, clock = io.StringIO(), [0.0]

    async def run() -> str:
        sink = TerminalSink("garage", PSI, out, screen, look_each_s=0.0, mono_s=lambda: clock[0])
        await sink.open()
        await sink.write(Delivery(TESTED, {1: 1_700_000_000.0}))
        before = len(out.getvalue())
        for clock[0] in at_s:
            await sink.write(Delivery(then, {1: 1_700_000_000.0})) if then else await _turns(5)
        await sink.close()
        assert asyncio.all_tasks() == {asyncio.current_task()}
        return out.getvalue()[before:]

    return asyncio.run(run())


async def _turns(count: int) -> None:
    for _ in range(count):
        await asyncio.sleep(0)


def test_a_board_that_falls_silent_is_said_to_be_stale_once() -> None:
    (line,) = shown_later(3.0, 6.0, 60.0).splitlines()
    assert line.endswith("LOSS -.- % | STALE")


def test_a_board_that_falls_silent_shows_as_old_data() -> None:
    text = shown_later(3.0, screen=True)
    assert "STALE" in text and "OLD DATA" in text and "STABLE" not in text


def test_what_is_just_read_is_not_old() -> None:
    text = shown_later(1.9, screen=True)
    assert "STABLE" in text and "STALE" not in text


def test_a_line_that_comes_back_does_not_renew_what_was_read_before() -> None:
    assert shown_later(9.0, then=(LinkChange(1, 9.0, True, "", BOARD),)).endswith("| STALE\n")


def test_what_is_expected_shows_in_the_face_and_is_no_line_of_its_own() -> None:
    settling = (LinkChange(1, 0.0, True, "", BOARD), Session(1, 0.0, "x", 3, "settle", 4), readings(28.04, False))
    expectation = Expectation(1, 2.0, 5.84, 5.5, 6.2, 95e-6, 2e-6)
    assert "SETTLING, EXPECT 5.8 % (5.5 TO 6.2)" in shown(*settling, expectation, screen=True)
    assert "SETTLING, WAIT" in shown(*settling, expectation, Tap(1, 3.0, 2.5, 5e4, 0.4), screen=True)
    assert "expect" not in shown(*settling, expectation)
