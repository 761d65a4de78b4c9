"""What the stages of a segment owe each other."""

from __future__ import annotations

import numpy as np

from daq.measure.calibration import assumed_calibration
from daq.measure.zero import ZeroMonitor
from daq.pipeline.measurement import Measurement
from daq.records import Board, Event, Fault, Instrument, LineFormat, StableReading, Tap, Ticks

INSTRUMENT = Instrument(1.016e-3, 0.8, 0.5283, 101_325.0, 293.15, 689_476.0, 13_790.0)
BOARD = Board(LineFormat.FRAMED, 16, rate_hz=200.0)
CALIBRATION = assumed_calibration()
TICK_S = 0.05


def measured(cylinder_psi: np.ndarray, supply_psi: float = 100.0) -> list[Event]:
    """The events of one tick for each value, 10 samples each."""
    rows = len(cylinder_psi)
    noise = np.random.default_rng(4).normal(0.0, 0.01, (2, rows))
    supply, cylinder = (
        (0.1 + 0.8 * psi / 150) * 65_536 for psi in (supply_psi + noise[0], np.asarray(cylinder_psi) + noise[1])
    )
    many, none = np.full(rows, 10, np.int64), np.zeros(rows, np.int64)
    ticks = Ticks(1, TICK_S * np.arange(rows), many, supply, cylinder, np.floor(cylinder), np.full(rows, 5e4), none)
    measurement = Measurement(INSTRUMENT, CALIBRATION, BOARD, 0.0, ZeroMonitor(CALIBRATION))
    return measurement.feed(ticks)[1]


def tapped_psi(back_psi: float) -> np.ndarray:
    """90 psi; a blow after 5 s that takes 20 psi, of which so much comes back."""
    since = TICK_S * np.arange(160)
    return np.concatenate((np.full(100, 90.0), 70.0 + back_psi * (1 - np.exp(-since / 0.12))))


def kinds(events: list[Event]) -> list[type]:
    return [type(event) for event in events if isinstance(event, StableReading | Tap | Fault)]


def test_no_reading_comes_between_a_blow_and_the_tap_that_it_turns_out_to_be() -> None:
    """Else a loss would have changed without a tap; the level after the blow stands before it is known what fell."""
    for back_psi in (6.0, 9.0):
        assert kinds(measured(tapped_psi(back_psi))) == [StableReading, Tap, StableReading]


def test_a_fall_that_is_no_tap_withholds_no_reading() -> None:
    before, after, fault = (e for e in measured(tapped_psi(0.0)) if isinstance(e, StableReading | Tap | Fault))
    assert isinstance(before, StableReading) and isinstance(after, StableReading) and isinstance(fault, Fault)
    assert fault.fault == "crank-moved" and after.loss_pct > 29 and after.t_s < 9.0
