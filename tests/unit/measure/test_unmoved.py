"""A supply that does not answer when the flow changes is frozen; a live one answers, or shows its noise."""

from __future__ import annotations

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.measure.faults import FaultMonitor
from daq.measure.unmoved import UnmovedSupply
from daq.records import Instrument, Pressures

PSI = 6894.757293168361
ROWS, OPENED, EMPTIED = 400, 60, 240
SHUT_PSI, FLOW_PSI = 100.0, 99.65
COUNT_PSI = 0.2


def answering(shut_psi: float = SHUT_PSI, flow_psi: float = FLOW_PSI, after_psi: float | None = None) -> np.ndarray:
    """A supply (psi) that falls as the air is opened, and is at `after_psi` once the line has been vented."""
    supply = np.full(ROWS, shut_psi)
    supply[OPENED:EMPTIED] = flow_psi
    supply[EMPTIED:] = shut_psi if after_psi is None else after_psi
    return supply


def frozen(from_row: int, supply_psi: np.ndarray) -> np.ndarray:
    course = supply_psi.copy()
    course[from_row:] = course[from_row]
    return course


def counted(psi: np.ndarray, count_psi: float = COUNT_PSI) -> np.ndarray:
    return np.floor(psi / count_psi) * count_psi if count_psi else psi


def cylinder(opened: int = OPENED, emptied: int = EMPTIED, level_psi: float = 93.0) -> np.ndarray:
    course = level_psi * (1 - np.exp(-np.maximum(np.arange(ROWS) - opened + 1, 0) / 5))
    course[emptied:] = 0.0
    return course


def unmoved(
    supply_psi: np.ndarray, cylinder_psi: np.ndarray | None = None, count_psi: float = COUNT_PSI, size: int = ROWS
) -> list[int]:
    """The rows at which it stands unmoved, fed in pieces of `size`."""
    monitor = UnmovedSupply(100 * PSI)
    columns = np.stack([supply_psi, cylinder() if cylinder_psi is None else cylinder_psi]) * PSI
    past = np.concatenate((np.full((2, UnmovedSupply.BACK_ROWS), np.nan), columns), axis=1)
    states = []
    for start in range(0, ROWS, size):
        rows = min(size, ROWS - start)
        seen = past[:, start : start + UnmovedSupply.BACK_ROWS + rows]
        states += monitor.feed(seen, rows, count_psi * PSI).tolist()
    return np.flatnonzero(states).tolist()


def noise(psi: float) -> np.ndarray:
    return psi * np.random.default_rng(9).standard_normal(ROWS)


def test_a_coarse_and_quiet_supply_that_does_not_come_back_is_frozen() -> None:
    """Nothing of its noise shows, before or after."""
    assert unmoved(counted(frozen(200, answering()))) == list(range(EMPTIED + 19, ROWS))


@pytest.mark.parametrize("noise_psi", [0.0, 0.02, 0.2])
@pytest.mark.parametrize("count_psi", [0.001, 0.05, COUNT_PSI])
@pytest.mark.parametrize("supply", [answering(), answering(flow_psi=100.3), answering(after_psi=99.2)])
def test_a_supply_that_answers_is_alive(supply: np.ndarray, count_psi: float, noise_psi: float) -> None:
    """By droop, by hump, or because the air is still on."""
    assert unmoved(counted(supply + noise(noise_psi), count_psi), count_psi=count_psi) == []


def test_a_trimmed_regulator_shows_its_noise() -> None:
    trimmed = answering(after_psi=FLOW_PSI)
    assert unmoved(trimmed + noise(0.01), count_psi=0.01) == []
    assert unmoved(frozen(200, trimmed + noise(0.01)), count_psi=0.01) != []


def test_what_a_regulator_moves_may_be_less_than_a_count() -> None:
    assert unmoved(counted(frozen(200, answering(flow_psi=99.9)))) == []


def test_a_flicker_shows_how_near_the_edge_of_a_count_is() -> None:
    """One count is enough then."""
    flickers = counted(answering(flow_psi=99.85))
    flickers[OPENED + 30 : 200 : 7] += 0.02
    assert unmoved(frozen(201, flickers)) != []
    assert unmoved(counted(frozen(200, answering(flow_psi=99.85)))) == []


def test_hum_at_the_edge_of_a_count_is_no_life() -> None:
    hums = counted(frozen(200, answering(flow_psi=99.45)))
    hums[200::3] += 0.4 * COUNT_PSI
    assert unmoved(hums) != []
    hums[200::3] += 0.2 * COUNT_PSI
    assert unmoved(hums) == []


def test_a_regulator_that_was_turned_tells_nothing() -> None:
    """A soft step: opened at a low pressure, then turned up."""
    assert unmoved(answering(shut_psi=15.0, after_psi=FLOW_PSI)) == []


def test_a_leak_that_has_changed_tells_nothing() -> None:
    better = cylinder(level_psi=75.0)
    better[150:EMPTIED] = 98.0
    assert unmoved(counted(answering(after_psi=FLOW_PSI)), better) == []


def test_a_line_that_a_tap_emptied_for_a_moment_was_not_opened() -> None:
    """Its regulator has a hump, and stands where it did without flow."""
    supply, line = np.full(ROWS, SHUT_PSI), cylinder()
    supply[150:158], line[150:158] = 99.0, 0.0
    assert unmoved(counted(supply), line) == []


def test_a_channel_that_becomes_quieter_may_still_answer() -> None:
    """As when the compressor stops."""
    supply = answering()
    supply[:200:2] += 1.0
    assert unmoved(supply, count_psi=0.01) == []


def test_a_wire_that_was_off_tells_nothing() -> None:
    supply, line = counted(answering(after_psi=FLOW_PSI)), cylinder()
    supply[OPENED - 8] = np.nan
    assert unmoved(supply, line) == []
    line[EMPTIED - 30 : EMPTIED] = np.nan
    assert unmoved(counted(answering(after_psi=FLOW_PSI)), line) == []


def test_a_tap_that_emptied_the_line_for_a_moment_undoes_nothing_of_what_was_seen() -> None:
    supply, line = counted(frozen(140, answering())), cylinder()
    line[150:158] = 0.0
    assert unmoved(supply, line) == list(range(EMPTIED + 19, ROWS))


def test_a_fill_that_did_not_settle_shows_nothing() -> None:
    """And what another has shown is old by then."""
    supply, line = counted(answering()), cylinder()
    line[200:214] = 0.0
    line[214:220] = 60.0
    supply[210:] = supply[209]
    assert unmoved(supply, line) == []


def test_of_several_fills_the_one_counts_at_which_the_supply_moved_least() -> None:
    supply, line = np.full(ROWS, SHUT_PSI), np.zeros(ROWS)
    for opened, level_psi in ((20, 99.4), (150, 97.8), (280, 99.8)):
        line[opened : opened + 110] = np.interp(np.arange(110), [0, 20], [0.0, 90.0])
        supply[opened : opened + 110] = level_psi
    assert unmoved(supply, line, count_psi=0.01) == []
    supply[280:390] = SHUT_PSI
    assert unmoved(counted(supply), line) != []


def two_fills(second_psi: float) -> tuple[np.ndarray, np.ndarray]:
    supply, line = answering(), cylinder(emptied=200)
    supply[200:] = SHUT_PSI
    line[280:] = np.interp(np.arange(ROWS - 280), [0, 20], [0.0, 90.0])
    supply[280:] = second_psi
    return counted(supply), line


def test_a_supply_that_moved_at_one_fill_and_not_at_the_next_is_frozen() -> None:
    rows = unmoved(*two_fills(SHUT_PSI))
    assert rows and 280 + 40 <= rows[0] <= 280 + 65
    assert unmoved(*two_fills(FLOW_PSI)) == []


def test_at_the_first_fill_nothing_is_known() -> None:
    assert unmoved(np.full(ROWS, SHUT_PSI)) == []


def test_it_is_over_when_the_channel_moves() -> None:
    freed = counted(frozen(200, answering()))
    freed[320:] = SHUT_PSI
    assert unmoved(freed) == list(range(EMPTIED + 19, 320))


@pytest.mark.parametrize("size", [1, 7, 100])
def test_any_split_gives_the_same(size: int) -> None:
    for supply, line in ((counted(frozen(200, answering())), cylinder()), two_fills(SHUT_PSI)):
        assert unmoved(supply, line, size=size) == unmoved(supply, line) != []


def test_it_is_told_and_over_as_a_fault(instrument: Instrument) -> None:
    supply = counted(frozen(200, answering())) * PSI
    supply[330:] += 0.5 * PSI
    line = cylinder() * PSI
    pressures = Pressures(1, 0.05 * np.arange(ROWS), supply, line, line, np.zeros(ROWS, np.int64))
    monitor = FaultMonitor(instrument, assumed_calibration())
    came, over = monitor.feed(pressures, COUNT_PSI * PSI)
    assert (came.fault, came.over, over.over) == ("supply-sensor-stuck", False, True)
    assert 13.5 < came.t_s < 14.5 and 16.5 <= over.t_s < 17.0
    assert monitor.spoilt[300] and not monitor.spoilt[350]
