import numpy as np
import pytest

from daq.measure.supply import FALL_S, RISE_S, SupplyMonitor
from daq.records import Instrument, Pressures, SupplyChange, SupplyState


def supply(psi: np.ndarray, segment: int = 0) -> Pressures:
    pa = psi * 6894.757293168361
    return Pressures(segment, np.arange(len(psi)) * 0.05, pa, pa, pa, np.zeros(len(psi), np.int64))


def course(*parts: tuple[float, float]) -> np.ndarray:
    """Straight pieces: (psi at the end, seconds), from the first value on."""
    pieces = [np.full(1, parts[0][0])]
    for psi, seconds in parts:
        pieces.append(np.linspace(pieces[-1][-1], psi, round(seconds / 0.05) + 1)[1:])
    return np.concatenate(pieces)


def watch(instrument: Instrument, psi: np.ndarray) -> tuple[np.ndarray, list[SupplyChange]]:
    return SupplyMonitor(instrument).feed(supply(psi))


def test_held_after_the_dwell_in_the_band(instrument: Instrument) -> None:
    held, changes = watch(instrument, course((100.5, 3.0)))
    assert [change.state for change in changes] == [SupplyState.HELD]
    assert RISE_S + 0.45 < changes[0].t_s < RISE_S + 0.6  # half a second to know the slope, then the dwell
    assert held[-1] and not held[0]
    assert changes[0].set_point_pa == instrument.set_point_pa


@pytest.mark.parametrize(
    ("psi", "reason"), [(95.0, "droop below the band"), (104.0, "above the band"), (0.0, "off"), (np.nan, "off")]
)
def test_lost_says_how(instrument: Instrument, psi: float, reason: str) -> None:
    held, changes = watch(instrument, np.concatenate((np.full(60, 100.0), np.full(40, psi))))
    assert [change.state for change in changes] == [SupplyState.HELD, SupplyState.LOST]
    assert changes[1].reason == reason and changes[1].t_s == pytest.approx(3.0 + FALL_S)
    assert not held[-1] and changes[1].supply_gauge_pa == pytest.approx(np.nan_to_num(psi) * 6894.757293168361)


def test_a_supply_that_runs_through_the_band_is_not_held(instrument: Instrument) -> None:
    held, changes = watch(instrument, course((96.0, 1.0), (104.0, 3.0), (104.0, 1.0)))
    assert not held.any() and not changes


def test_swings_within_the_band_lose_it_when_they_are_fast(instrument: Instrument) -> None:
    calm = np.full(60, 100.0)
    fast, slow = np.repeat([98.2, 101.8] * 4, 10), course((98.2, 1.8), (101.8, 3.6), (98.2, 3.6))
    _, changes = watch(instrument, np.concatenate((calm, fast)))
    assert changes[1].reason == "moving"
    _, changes = watch(instrument, np.concatenate((calm, slow)))
    assert len(changes) == 1


def test_a_short_dip_is_not_told(instrument: Instrument) -> None:
    psi = np.full(100, 100.0)
    psi[60:68] = 95.0
    held, changes = watch(instrument, psi)
    assert len(changes) == 1 and held[60:].all()


def test_the_edge_of_the_band_does_not_flutter(instrument: Instrument) -> None:
    psi = np.full(400, 100.0)
    psi[100:] = 98.0 + 0.3 * np.sin(np.arange(300) / 5)
    _, changes = watch(instrument, psi)
    assert len(changes) == 1


def test_a_new_segment_begins_not_held(instrument: Instrument) -> None:
    monitor = SupplyMonitor(instrument)
    monitor.feed(supply(np.full(60, 100.0)))
    held, changes = monitor.feed(supply(np.full(60, 100.0), segment=1))
    assert not held[0] and [change.segment for change in changes] == [1]
