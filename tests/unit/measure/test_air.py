import numpy as np

from daq.measure.air import FALL_S, RISE_S, AirMonitor
from daq.records import AirState, Instrument, Pressures


def cylinder(psi: np.ndarray, segment: int = 0) -> Pressures:
    pa = psi * 6894.757293168361
    return Pressures(segment, np.arange(len(psi)) * 0.05, pa, pa, pa, np.zeros(len(psi), np.int64))


def test_on_when_connected_and_off_when_the_hose_stays_empty(instrument: Instrument) -> None:
    psi = np.concatenate((np.full(20, 0.3), np.full(40, 90.0), np.full(40, 0.3)))
    on, off = AirMonitor(instrument).feed(cylinder(psi))
    assert (on.state, off.state) == (AirState.ON, AirState.OFF)
    assert abs(on.t_s - (1.0 + RISE_S)) < 0.051 and abs(off.t_s - (3.0 + FALL_S)) < 0.051
    assert on.cylinder_gauge_pa > 90 * 6894 > off.cylinder_gauge_pa


def test_a_tap_that_empties_the_cylinder_for_a_second_is_no_venting(instrument: Instrument) -> None:
    psi = np.concatenate((np.full(40, 90.0), np.full(22, 0.1), np.linspace(0.1, 90, 20), np.full(40, 90.0)))
    assert [change.state for change in AirMonitor(instrument).feed(cylinder(psi))] == [AirState.ON]


def test_between_the_thresholds_nothing_changes(instrument: Instrument) -> None:
    psi = np.concatenate((np.full(60, 4.0), np.full(60, 6.0), np.full(60, 4.0)))
    assert [change.state for change in AirMonitor(instrument).feed(cylinder(psi))] == [AirState.ON]


def test_a_segment_that_begins_vented_says_so_once(instrument: Instrument) -> None:
    """A hose that came off while the cable was out is told as soon as it is seen."""
    psi = np.concatenate((np.full(100, 0.3), np.full(20, 90.0)))
    monitor = AirMonitor(instrument)
    (off, on) = monitor.feed(cylinder(psi))
    assert (off.state, on.state) == (AirState.OFF, AirState.ON)
    assert abs(off.t_s - FALL_S) < 0.051
    assert [change.state for change in monitor.feed(cylinder(psi, segment=1))] == [AirState.OFF, AirState.ON]


def test_a_new_segment_tells_air_again(instrument: Instrument) -> None:
    monitor = AirMonitor(instrument)
    assert len(monitor.feed(cylinder(np.full(20, 90.0)))) == 1
    assert [change.segment for change in monitor.feed(cylinder(np.full(20, 90.0), segment=1))] == [1]
