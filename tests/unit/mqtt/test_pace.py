from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from daq.sinks.base import BackOff
from daq.sinks.mqtt.pace import Pace, Reconnect


@given(st.lists(st.floats(0.0, 0.5), min_size=1, max_size=300), st.floats(1.0, 100.0), st.floats(0.0, 0.1))
def test_no_stretch_of_time_gets_more_than_its_budget(waits: list[float], per_second: float, slack_s: float) -> None:
    """In any stretch T at most 1 + (T + slack) * rate. Ref: the conformance of ITU-T I.371 annex A."""
    pace, now_s, taken = Pace(per_second, slack_s), 100.0, []
    for wait in waits:
        now_s += wait
        if pace.wait_s(now_s) == 0:
            pace.take(now_s)
            taken.append(now_s)
    for first in range(len(taken)):
        for last in range(first, len(taken)):
            assert last - first + 1 <= 1 + (taken[last] - taken[first] + slack_s) * per_second + 1e-6


def test_whoever_waits_as_told_gets_the_full_rate() -> None:
    pace, now_s = Pace(50.0, 0.1), 7.0
    for _ in range(500):
        now_s += pace.wait_s(now_s)
        pace.take(now_s)
    assert 9.8 < now_s - 7.0 <= 10.0


def test_it_may_begin_without_credit() -> None:
    pace = Pace(50.0, 0.1, from_s=5.1)
    assert pace.wait_s(5.0) == 0.0
    pace.take(5.0)
    assert 0.019 < pace.wait_s(5.0) < 0.021


def longest(low: float, high: float) -> float:
    return high


def test_each_lost_connection_waits_longer_up_to_half_a_minute() -> None:
    reconnect = Reconnect(BackOff(1.0, 30.0, longest))
    assert [reconnect.delay_s(0.0) for _ in range(7)] == [1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0]


def test_only_a_stable_connection_is_forgiven() -> None:
    reconnect = Reconnect(BackOff(1.0, 30.0, longest))
    assert [reconnect.delay_s(held_s) for held_s in (0.0, 29.9, 5.0, 30.0, 29.9)] == [1.0, 2.0, 4.0, 1.0, 2.0]


def test_the_jitter_is_full_by_default() -> None:
    reconnect = Reconnect()
    assert (reconnect.back_off.first_s, reconnect.back_off.most_s) == (1.0, 30.0)
    first = [Reconnect().delay_s(0.0) for _ in range(400)]
    assert 0.0 <= min(first) < 0.1 and 0.9 < max(first) <= 1.0
