import numpy as np
import pytest

from daq.measure.board_clock import BoardClock

TURN_US = 2**32


def block(first_sequence: int, first_us: int, n: int, step_us: int = 5000) -> tuple[np.ndarray, np.ndarray]:
    """What a board that never loses a sample would send, as it sends it: 16 and 32 bits."""
    rows = np.arange(n)
    sequence = (first_sequence + rows) % 2**16
    return sequence.astype(np.uint16), ((first_us + step_us * rows) % TURN_US).astype(np.uint32)


def test_begins_at_the_boards_own_clock() -> None:
    found = BoardClock().feed(*block(7, 123_456, 3))
    assert found.t_us.tolist() == [123_456, 128_456, 133_456]
    assert found.missing.tolist() == [0, 0, 0] and found.keep.all() and found.restart_at is None


def test_crosses_the_turn_of_clock_and_sequence_within_a_block_and_between_two() -> None:
    clock, start = BoardClock(200.0), TURN_US - 12_000
    first, second = clock.feed(*block(65_534, start, 4)), clock.feed(*block(2, start + 20_000, 2))
    assert [*first.t_us, *second.t_us] == [start + 5000 * i for i in range(6)]
    assert not first.missing.any() and not second.missing.any()


def test_many_turns_of_the_clock_in_small_steps() -> None:
    clock, step, at = BoardClock(), 600_000_000, 0
    for i in range(40):
        found = clock.feed(*block(i, at, 1))
        assert found.t_us.tolist() == [at] and found.restart_at is None
        at += step


def test_what_happened_is_on_the_clock_of_the_samples_also_across_its_turn() -> None:
    clock, start = BoardClock(200.0), TURN_US - 12_000
    clock.feed(*block(0, start, 4))  # up to 3000 us behind the turn
    assert clock.happened(TURN_US - 20_000) == start - 8_000
    assert clock.happened(1_000) == TURN_US + 1_000
    assert clock.happened(500_000) == TURN_US + 500_000, "the next samples have not come yet"
    assert clock.feed(*block(4, 8_000, 1)).t_us.tolist() == [TURN_US + 8_000], "nothing has changed by it"


def test_what_happened_in_another_life_or_before_any_sample_has_no_time() -> None:
    clock = BoardClock(200.0)
    assert clock.happened(5_000) is None
    clock.heartbeat(900_000_000)
    assert clock.happened(900_500_000) is None, "no sample, so no day is known of this clock"
    clock.feed(*block(0, 901_000_000, 1))
    assert clock.happened(900_000_000) == 900_000_000
    assert clock.happened(899_999_999) is clock.happened(200_000) is None


def test_counts_lost_samples_across_the_turn_of_the_sequence() -> None:
    sequence, clock_us = block(65_530, 0, 12)
    kept = [0, 1, 5, 6, 11]
    found = BoardClock().feed(sequence[kept], clock_us[kept])
    assert found.missing.tolist() == [0, 0, 3, 0, 4]


def test_the_same_sequence_at_another_time_is_a_whole_turn_of_it() -> None:
    clock = BoardClock()
    clock.feed(*block(7, 0, 1))
    assert clock.feed(*block(7, 400_000_000, 1)).missing.tolist() == [65_535]


@pytest.mark.parametrize("lost", [65_535, 65_536, 65_537, 3 * 65_536 + 17])
def test_a_loss_longer_than_a_turn_of_the_sequence_shows_when_the_rate_is_known(lost: int) -> None:
    clock = BoardClock(200.0)
    clock.feed(*block(0, 0, 1))
    late_us = round((lost + 1) * 5000 * 1.004)
    found = clock.feed(*block(lost + 1, late_us, 1))
    assert found.missing.tolist() == [lost]
    assert found.t_us.tolist() == [late_us]


def test_a_pause_of_the_stream_is_no_loss() -> None:
    clock = BoardClock(200.0)
    clock.feed(*block(10, 0, 1))
    for second in range(1, 250):
        assert clock.heartbeat(second * 1_000_000) == second * 1_000_000
    assert clock.feed(*block(11, 249_500_000, 1)).missing.tolist() == [0]


def test_a_repeated_row_is_not_kept() -> None:
    sequence, clock_us = block(5, 1000, 3)
    found = BoardClock().feed(sequence[[0, 1, 1, 2]], clock_us[[0, 1, 1, 2]])
    assert found.keep.tolist() == [True, True, False, True]
    assert found.missing.tolist() == [0, 0, 0, 0]


def test_a_clock_that_goes_back_is_a_restart_and_the_rest_begins_anew() -> None:
    clock = BoardClock()
    first, second = block(100, 50_000_000, 3), block(0, 20_000, 2)
    sequence, clock_us = np.concatenate((first[0], second[0])), np.concatenate((first[1], second[1]))
    found = clock.feed(sequence, clock_us)
    assert found.restart_at == 3 and found.t_us.tolist() == [50_000_000, 50_005_000, 50_010_000]
    assert len(found.missing) == len(found.keep) == 3
    again = clock.feed(sequence[3:], clock_us[3:])
    assert again.restart_at is None and again.t_us.tolist() == [20_000, 25_000] and not again.missing.any()


def test_a_restart_at_the_first_row_of_a_block() -> None:
    clock = BoardClock()
    clock.feed(*block(100, 50_000_000, 3))
    found = clock.feed(*block(0, 20_000, 2))
    assert found.restart_at == 0 and not len(found.t_us)
    assert clock.feed(*block(0, 20_000, 2)).t_us.tolist() == [20_000, 25_000]


def test_heartbeats_keep_time_through_a_silence_longer_than_a_turn() -> None:
    clock = BoardClock()
    clock.feed(*block(0, 0, 1))
    silence_s = 2 * 4295 + 100
    for second in range(10, silence_s, 10):
        assert clock.heartbeat(second * 1_000_000 % TURN_US) == second * 1_000_000
    assert clock.feed(*block(1, silence_s * 1_000_000 % TURN_US, 1)).t_us.tolist() == [silence_s * 1_000_000]


def test_a_sample_converted_just_before_a_heartbeat_is_no_restart() -> None:
    clock = BoardClock()
    clock.feed(*block(0, TURN_US - 4000, 1))
    assert clock.heartbeat(500) == TURN_US + 500
    found = clock.feed(*block(1, 200, 1))
    assert found.t_us.tolist() == [TURN_US + 200] and found.restart_at is None
    assert clock.at(700) == TURN_US + 700


def test_a_heartbeat_stamped_just_before_the_last_sample_is_no_restart() -> None:
    clock = BoardClock()
    clock.feed(*block(0, 80_000_000, 2))
    assert clock.heartbeat(80_004_000) == 80_004_000
    assert clock.feed(*block(2, 80_010_000, 1)).t_us.tolist() == [80_010_000]


def test_a_heartbeat_that_goes_back_is_a_restart() -> None:
    clock = BoardClock()
    clock.feed(*block(0, 90_000_000, 1))
    assert clock.heartbeat(30_000) is None
    assert clock.feed(*block(0, 40_000, 2)).t_us.tolist() == [40_000, 45_000]


def test_an_empty_block_changes_nothing() -> None:
    clock = BoardClock()
    clock.feed(*block(0, 0, 1))
    assert not len(clock.feed(*block(0, 0, 0)).t_us)
    assert clock.feed(*block(1, 5000, 1)).missing.tolist() == [0]
