"""Invented records of every type, for tests of what stands downstream of the pipeline."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from daq.procedure import EngineOrder, TestPlan
from daq.records import (
    AirChange,
    AirState,
    BadLines,
    Board,
    BoardFault,
    Calibration,
    ChannelCalibration,
    Cue,
    CueLevel,
    CylinderDone,
    CylinderJudged,
    Delivery,
    Event,
    Expectation,
    Fault,
    Finding,
    Gap,
    Judged,
    LineFormat,
    LinkChange,
    Marked,
    Place,
    Readings,
    Restarted,
    Samples,
    Session,
    SoftStep,
    StableReading,
    Strength,
    SupplyChange,
    SupplyState,
    TakenBack,
    Tap,
    TapEffect,
    TapVerdict,
    TestDone,
    TestStarted,
    Withdrawn,
    ZeroCheck,
)

UTC_OFFSET_S = 1_767_225_600.0  # 2026-01-01T00:00:00Z
BOARD = Board(LineFormat.FRAMED, 16, rate_hz=200.0, maker="Garage", model="Sketch", serial="0001", firmware="1.0")
CHANNEL = ChannelCalibration(zero_v=0.5, pa_per_v=258_553.4, full_scale_pa=1_034_213.6, accuracy_pa=5171.1)
PLAN = TestPlan("2026-four", EngineOrder("test-four", (1, 3, 4, 2)), (180.0,) * 4, acknowledged="kim")
CALIBRATION = Calibration("cal-1", "assumed", "2026-01-01", 5.0, CHANNEL, CHANNEL)


def samples(first: int, count: int, segment: int = 1, rate_hz: float = 200.0) -> Samples:
    """`count` samples from number `first` on: steady pressures with noise, the same for the same arguments."""
    noise = np.random.default_rng(first)
    t_us = np.arange(first, first + count) * int(1e6 / rate_hz)
    return Samples(
        segment,
        t_us,
        30_000 + np.rint(noise.normal(0, 4, count)).astype(np.int64),
        22_000 + np.rint(noise.normal(0, 4, count)).astype(np.int64),
        np.full(count, 50_000, np.int64),
        np.full(count, 64, np.int64),
    )


def readings(first_s: float, count: int, segment: int = 1) -> Readings:
    """`count` ticks of 50 ms; the first one before the supply came, so without meaning."""
    t_s = first_s + 0.05 * np.arange(1, count + 1)
    loss = np.full(count, 12.5)
    loss[:1] = np.nan
    return Readings(
        segment,
        t_s,
        np.full(count, 552_000.0),
        np.full(count, 483_000.0),
        loss,
        loss + 0.1,
        loss * 1e-8,
        loss * 1e-5,
        np.full(count, True),
        np.full(count, False),
        np.full(count, 64),
    )


def stable(t_s: float = 12.0, cylinder: int | None = 2, segment: int = 1) -> StableReading:
    return StableReading(
        segment, t_s, 1.5, 552e3, 483e3, 12.5, 0.4, 12.4, 8.0, 0.3, 0.25e-6, 0.56e-3, 0.4e-3, 0.3e-3, "cal-1",
        cylinder, "as_found",
    )  # fmt: skip


def every_event(segment: int = 1) -> tuple[Event, ...]:
    """One event of each type, in an order in which a test of an engine could make them."""
    reading = stable(12.0, segment=segment)
    after = replace(reading, t_s=15.0, loss_pct=6.0, phase="after_tap")
    done = CylinderDone(segment, 20.0, 2, reading, after, 1)
    return (
        LinkChange(segment, 0.0, True, "opened", BOARD),
        Restarted(segment, 0.1, "watchdog", 7),
        TestStarted(segment, 0.5, "2026-four", "test-four", PLAN.to_text()),
        SupplyChange(segment, 1.0, SupplyState.HELD, 552e3, 551.6e3, "in band"),
        Session(segment, 1.5, "test-four", 2, "as_found", 4),
        AirChange(segment, 2.0, AirState.ON, 483e3),
        SoftStep(segment, 2.5, 100e3, 90e3),
        Gap(segment, 3.0, 17),
        BadLines(segment, 3.5, {"crc": 2, "grammar": 1}, b"S,00\xff\n"),
        BoardFault(segment, 4.0, "reference low", "4.61 V"),
        Marked(segment, 5.0, "note", "oil cap off", "operator"),
        reading,
        Expectation(segment, 12.5, 12.4, 11.9, 12.9, 95e-6, 2e-6),
        Tap(segment, 14.0, 13.0, 250e3, 1.1),
        after,
        TapEffect(segment, 15.0, 2, 1, 12.5, 6.0, -6.5, 0.05, TapVerdict.IMPROVED, 0.999),
        Fault(segment, 16.0, "hose off", "the cylinder side fell to 0.2 psi", "Connect the hose."),
        Cue(
            segment, 16.5, "captured", CueLevel.NEWS, "Cylinder 2, 12.4 percent.", 2, {"cylinder": "2", "loss": "12.4"}
        ),
        Finding(segment, 17.0, 1, 2, Place.NEXT_CYLINDER, Strength.FAINT, 3, "at the plug hole"),
        Withdrawn(segment, 18.0, TakenBack.FINDING, 2, 1, "taken back"),
        ZeroCheck(segment, 19.0, 120.0, -340.0, True, "both within 0.5 % of full scale"),
        done,
        CylinderJudged(
            segment,
            20.0,
            "2026-four",
            2,
            Judged(12.4, 0.8, "watch", 0.97),
            Judged(6.0, 0.8, "sound", 0.999),
            "common practice",
            10.0,
            15.0,
        ),
        TestDone(segment, 21.0, "test-four", (done,)),
        LinkChange(segment, 22.0, False, "unplugged", None),
    )


def delivery(*records: Samples | Readings | Event, offset_s: float = UTC_OFFSET_S) -> Delivery:
    return Delivery(records, {record.segment: offset_s for record in records})


def a_run(steps: int, segment: int = 1) -> Iterator[Delivery]:
    """What a pipeline hands over in `steps` steps of 50 ms: samples and a reading each, a mark in every tenth."""
    for step in range(steps):
        records: list[Samples | Readings | Event] = [samples(step * 10, 10, segment), readings(step * 0.05, 1, segment)]
        if step % 10 == 9:
            records.append(Marked(segment, step * 0.05, "note", f"mark {step}", "operator"))
        yield delivery(*records)
