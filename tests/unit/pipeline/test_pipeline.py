"""The odd corners of the composition: links, restarts, buttons, bare boards, flags, damage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.pipeline import BARE_WARNING, Pipeline
from daq.procedure import EngineOrder, TestPlan
from daq.records import (
    AirChange,
    AirState,
    BadLines,
    Board,
    BoardFault,
    Chunk,
    Cue,
    CylinderJudged,
    Fault,
    Gap,
    Instrument,
    LineFormat,
    LinkChange,
    LinkDown,
    LinkUp,
    Mark,
    Marked,
    Pairing,
    Readings,
    Record,
    Restarted,
    Resume,
    Samples,
    Session,
    StableReading,
    TestStarted,
)
from daq.wire import Boot, Flag, Heartbeat, InputEvent, Reply, ResetCause, SampleBlock
from tests.suites.deliveries import stable

INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, 689_476.0, 13_790.0)
BOARD = Board(LineFormat.FRAMED, 16, rate_hz=200.0)
BARE = Board(LineFormat.BARE, 10)


def block(first: int = 0, clock_us: int = 0, n: int = 40, flags: int = 0) -> bytes:
    count = np.full(n, 30_000, np.uint16)
    clocks = ((clock_us + 5000 * np.arange(n)) % 2**32).astype(np.uint32)
    sequence = ((first + np.arange(n)) % 65_536).astype(np.uint16)
    return SampleBlock(sequence, clocks, count, count, count, np.full(n, flags, np.uint8)).encode()


@pytest.fixture
def pipeline() -> Pipeline:
    return Pipeline(INSTRUMENT, assumed_calibration(), EngineOrder("invented four", (1, 3, 4, 2)))


def feed(pipeline: Pipeline, *data: bytes) -> list[Record]:
    return [record for part in data for record in pipeline.feed(Chunk(0.0, part))]


def steady(first: int, clock_us: int, n: int, cylinder_psi: float = 90.0) -> bytes:
    """Supply at 100 psi, on 16 bits."""
    supply, cylinder = (np.full(n, round((0.1 + 0.8 * psi / 150) * 65_536), np.uint16) for psi in (100, cylinder_psi))
    clocks = (clock_us + 50_000 * np.arange(n)).astype(np.uint32)
    sequence = (first + np.arange(n)).astype(np.uint16)
    return SampleBlock(sequence, clocks, supply, cylinder, supply, np.zeros(n, np.uint8)).encode()


def of(records: list[Record], kind: type) -> list:
    return [record for record in records if isinstance(record, kind)]


def test_a_link_tells_its_board_and_where_the_test_stands(pipeline: Pipeline) -> None:
    records = pipeline.feed(LinkUp(0.0, BOARD))
    told = [record for record in records if not isinstance(record, Cue)]
    session = Session(1, 0.0, "invented four", 1, "wait-air", 3, "auto-1", order=(1, 3, 4, 2), can_undo=False)
    assert told == [LinkChange(1, 0.0, True, "", BOARD), session]
    assert [record.cue for record in records if isinstance(record, Cue)] == ["line-back"]


def test_a_test_that_is_gone_on_with_tells_its_verdicts_again() -> None:
    """Who comes after a restart sees them, also where the broker has forgotten them. The limits are those of a tester
    at 100 psi, as this one reads them."""
    plan = TestPlan("spring", EngineOrder("twin", (1, 2)), acknowledged="kim")
    started = TestStarted(1, 0.0, "spring", "twin", plan.to_text())
    air, vent = AirChange(1, 1.0, AirState.ON, 5e5), AirChange(1, 20.0, AirState.OFF, 0.0)
    pipeline = Pipeline(replace(INSTRUMENT, set_point_pa=551_581.0), assumed_calibration(), EngineOrder("single", (1,)))
    told = pipeline.feed(Resume(0.0, (started, air, stable(12.0, None), vent)))
    (verdict,) = of(told, CylinderJudged)
    assert (verdict.test, verdict.cylinder, verdict.as_found.loss_pct) == ("spring", 1, 12.4)
    assert 10.1 < verdict.sound_to_pct < 11 and 15.1 < verdict.investigate_from_pct < 16
    assert of(told, Session)[0].done == (1,)


def test_a_lost_link_closes_what_is_open(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    feed(pipeline, block(n=3))
    records = pipeline.feed(LinkDown(1.0, "cable"))
    assert sum(len(r.t_s) for r in of(records, Readings)) == 1
    assert LinkChange(1, 0.01, False, "cable", BOARD) in records[-2:]
    assert pipeline.feed(LinkDown(1.0, "cable")) == []
    assert feed(pipeline, block()) == []


def test_a_boot_line_begins_a_segment(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, block(), Boot(ResetCause.WATCHDOG, 4, True).encode(), block())
    assert of(records, Restarted) == [Restarted(2, 0.0, "watchdog", 4)]
    assert {r.segment for r in of(records, Samples)} == {1, 2}
    assert not of(records, Gap)


def test_a_clock_that_goes_back_without_a_boot_line_is_a_restart(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, block(0, 900_000_000) + block(0, 0))
    assert [r.cause for r in of(records, Restarted)] == ["clock-went-back"]
    assert [(r.segment, int(r.t_us[0])) for r in of(records, Samples)] == [(1, 900_000_000), (2, 0)]


def test_a_heartbeat_whose_clock_went_back_is_a_restart_too(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, block(0, 900_000_000), Heartbeat(1_000, True, 0, 0).encode())
    assert [r.cause for r in of(records, Restarted)] == ["clock-went-back"]


def test_the_clock_wraps_without_notice(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, block(65_530, 2**32 - 50_000, 40))
    (samples,) = of(records, Samples)
    assert np.all(np.diff(samples.t_us) == 5000)
    assert not of(records, Restarted) + of(records, Gap)


def test_lost_samples_are_counted_at_their_place(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, block(0, 0, 40), block(47, 47 * 5000, 40))
    assert of(records, Gap) == [Gap(1, pytest.approx(0.235), 7)]
    assert pipeline.lines["missing"] == 7


def test_damaged_lines_are_told_once_a_tick_with_the_first_as_evidence(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, block(0, 0, 10), b"S,garbage*0000\nrubbish\n", block(10, 50_000, 20))
    (bad,) = of(records, BadLines)
    assert sum(bad.counts.values()) == 2
    assert bad.evidence == b"S,garbage*0000"


def test_damage_at_the_very_end_is_not_lost(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    feed(pipeline, b"rubbish\n")
    assert of(pipeline.finish(), BadLines)


@pytest.mark.parametrize(("before", "mark"), [("", "again"), ("pause", "go-on")])
def test_a_mark_after_which_a_reading_is_awaited_is_answered_by_a_new_one(
    pipeline: Pipeline, before: str, mark: str
) -> None:
    """Though nothing moved, and what is stable had been told."""
    pipeline.feed(LinkUp(0.0, BOARD))
    if before:
        feed(pipeline, steady(0, 0, 10))
        pipeline.feed(Mark(0.0, before))
    told = of(feed(pipeline, steady(10, 500_000, 110)), StableReading)
    assert len(told) == 1 and not of(feed(pipeline, steady(120, 6_000_000, 60)), StableReading)
    pipeline.feed(Mark(0.0, mark))
    (reading,) = of(feed(pipeline, steady(180, 9_000_000, 60)), StableReading)
    assert (reading.cylinder, reading.phase) == (1, "as-found")
    assert reading.t_s - reading.window_s >= 8.9, "begun after the mark"


def test_no_reading_is_told_while_a_sensor_is_broken(pipeline: Pipeline) -> None:
    """A signal wire at 5 V stands as still as any pressure."""
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, steady(0, 0, 60, cylinder_psi=168.0))
    assert [fault.fault for fault in of(records, Fault)] == ["sensor-saturated"]
    assert not of(records, StableReading) and not any(rows.stable.any() for rows in of(records, Readings))
    assert len(of(feed(pipeline, steady(60, 3_000_000, 120)), StableReading)) == 1


def test_a_sensor_that_comes_back_is_no_crank_that_moved(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    feed(pipeline, steady(0, 0, 60), steady(60, 3_000_000, 60, cylinder_psi=168.0))
    records = feed(pipeline, steady(120, 6_000_000, 120))
    assert [(fault.fault, fault.over) for fault in of(records, Fault)] == [("sensor-saturated", True)]
    assert len(of(records, StableReading)) == 1


def test_the_button_means_next(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, block(), InputEvent(0, 1, True).encode(), InputEvent(0, 1, False).encode())
    assert [(m.kind, m.source) for m in of(records, Marked)] == [("next", "board")]
    assert [s.cylinder for s in of(records, Session)] == [3]


def pressed(clock_us: int) -> bytes:
    return InputEvent(clock_us % 2**32, 1, True).encode()


def test_a_press_has_the_time_at_which_it_happened_however_the_bytes_come() -> None:
    """Across the turn of the clock; the samples of just before it and just after it are told before and after it."""
    start = 2**32 - 100_000
    data = block(0, start) + pressed(start + 150_001) + block(40, start + 200_000) + pressed(start + 399_000)
    for parts in ([data], [data[:1500], data[1500:]], [data[at : at + 1] for at in range(len(data))]):
        pipeline = Pipeline(INSTRUMENT, assumed_calibration(), EngineOrder("invented four", (1, 3, 4, 2)))
        pipeline.feed(LinkUp(0.0, BOARD))
        marks = of(feed(pipeline, *parts), Marked)
        assert [(mark.segment, round(mark.t_s * 1e6)) for mark in marks] == [(1, start + 150_001), (1, start + 399_000)]


def test_a_press_where_the_clock_is_not_known_has_the_newest_time_that_is(pipeline: Pipeline) -> None:
    """Its own would be on no day before there is a sample, and before everything else after an unseen restart."""
    pipeline.feed(LinkUp(0.0, BOARD))
    early = feed(pipeline, pressed(900_000_000), Heartbeat(900_500_000, True, 0, 0).encode(), pressed(900_600_000))
    assert [mark.t_s for mark in of(early, Marked)] == [0.0, 0.0]
    reset = feed(pipeline, block(0, 901_000_000), pressed(200_000), block(0, 300_000), pressed(490_000))
    assert [(mark.segment, round(mark.t_s, 6)) for mark in of(reset, Marked)] == [(1, 901.195), (2, 0.49)]
    booted = feed(pipeline, Boot(ResetCause.WATCHDOG, 4, True).encode(), pressed(200_000))
    assert [(mark.segment, mark.t_s) for mark in of(booted, Marked)] == [(3, 0.0)]


def test_another_input_is_no_mark(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    assert not of(feed(pipeline, InputEvent(0, 2, True).encode()), Marked)


def test_a_refused_command_is_a_fault(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    records = feed(pipeline, Reply(1, 0, "").encode(), Reply(2, -221, "Settings conflict").encode())
    assert [f.detail for f in of(records, BoardFault)] == ["-221 Settings conflict"]


def test_a_warning_flag_is_told_when_it_comes_up(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(0.0, BOARD))
    low = Flag.REFERENCE_LOW | Flag.CALIBRATION_VALID
    records = feed(
        pipeline, block(0, 0, 40), block(40, 200_000, 40, low), block(80, 400_000, 40), block(120, 600_000, 40, low)
    )
    assert [f.fault for f in of(records, BoardFault)] == ["reference-low"] * 2


def test_a_bare_board_says_what_it_cannot_protect_and_counts_time_by_arrival(pipeline: Pipeline) -> None:
    (change, *_) = pipeline.feed(LinkUp(50.0, BARE))
    assert isinstance(change, LinkChange) and change.reason == BARE_WARNING
    records = [r for t in (100.0, 100.1, 100.2) for r in pipeline.feed(Chunk(t, b"512,700\n513,701\n"))]
    assert [r.t_us.tolist() for r in of(records, Samples)] == [[0, 0], [100_000] * 2, [200_000] * 2]
    assert sum(len(r.t_s) for r in of(records, Readings)) == 2


def test_a_host_clock_set_back_a_little_does_not_turn_a_bare_boards_time(pipeline: Pipeline) -> None:
    pipeline.feed(LinkUp(50.0, BARE))
    records = [r for t in (100.0, 101.0, 100.5, 102.0) for r in pipeline.feed(Chunk(t, b"512,700\n"))]
    times = np.concatenate([r.t_us for r in of(records, Samples)])
    assert np.all(np.diff(times) >= 0) and not of(records, Restarted)


def test_a_host_clock_set_back_by_more_begins_a_segment(pipeline: Pipeline) -> None:
    """Else a bare board would stand still until the clock has caught up."""
    pipeline.feed(LinkUp(50.0, BARE))
    records = [r for t in (1000.0, 1001.0, 400.0, 400.1, 400.2) for r in pipeline.feed(Chunk(t, b"512,700\n"))]
    assert [r.cause for r in of(records, Restarted)] == ["host-clock-went-back"]
    assert [r.t_us.tolist() for r in of(records, Samples) if r.segment == 2] == [[0], [100_000], [200_000]]


def test_the_age_of_a_calibration_goes_on_while_the_link_is_up() -> None:
    """Sixty days on one link: the drift of the pairing is in the budget."""
    pairing = Pairing("p", 0.0, 0.0, 0.0, 10.0, 1e-4, 0.0, 10.0, 10.0, 1e5, 7e5, drift_pa_per_day=100.0)
    calibration = replace(assumed_calibration(), pairing=pairing)
    board = replace(BOARD, rate_hz=20.0)

    def drift_pct(first_us: int) -> float:
        line = Pipeline(INSTRUMENT, calibration, EngineOrder("single", (1,)))
        line.feed(LinkUp(0.0, board))
        line.feed(Chunk(0.0, steady(0, 0, 5)))
        records = line.feed(Chunk(0.0, b"".join(steady(5 + i, first_us + 50_000 * i, 1) for i in range(120))))
        (reading, *_) = of(records, StableReading)
        return sum(
            abs(c.contribution_pct) for c in reading.budget if "drift" in c.component and "pairing" in c.component
        )

    assert drift_pct(1_800_000_000) > 20 * drift_pct(1_000_000) > 0.0
