from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.records import Delivery, Gap, Marked, Readings, Samples, Session
from daq.sinks.backlog import Backlog, KeepEvents, NewestWins, join
from tests.suites.deliveries import delivery, readings, samples


def step(number: int, event: bool = False) -> Delivery:
    marks = [Marked(1, float(number), "note", str(number), "operator")] if event else []
    return delivery(samples(number, 2), readings(number * 0.05, 1), *marks)


def types(batch: list[Delivery]) -> list[list[str]]:
    return [[type(record).__name__ for record in each.records] for each in batch]


def test_first_in_first_out() -> None:
    waiting = KeepEvents(10)
    steps = [step(number) for number in range(5)]
    for each in steps:
        waiting.put(each)
    assert waiting.take(3) + waiting.take(3) == steps
    assert (len(waiting), waiting.dropped) == (0, 0)


def test_samples_give_way_first_then_readings_and_events_never() -> None:
    waiting = KeepEvents(2)
    for number in range(6):
        waiting.put(step(number, event=True))
    assert types(waiting.take(10)) == [
        ["Marked"],
        ["Marked"],
        ["Readings", "Marked"],
        ["Readings", "Marked"],
        ["Samples", "Readings", "Marked"],
        ["Samples", "Readings", "Marked"],
    ]
    assert (waiting.dropped, waiting.dropped_events) == (4 + 2, 0)


def test_without_events_nothing_is_left_of_the_oldest() -> None:
    waiting = KeepEvents(3)
    for number in range(1000):
        waiting.put(step(number))
    assert len(waiting) == 6
    assert waiting.dropped == 2 * 1000 - 3 - 6


@given(st.lists(st.booleans(), max_size=200), st.integers(1, 20))
def test_memory_is_bounded_and_every_event_is_kept_in_order(events: list[bool], capacity: int) -> None:
    waiting = KeepEvents(capacity)
    for number, event in enumerate(events):
        waiting.put(step(number, event))
    batch = waiting.take(1000)
    records = [record for each in batch for record in each.records]
    assert sum(isinstance(record, Samples) for record in records) == min(capacity, len(events))
    assert sum(isinstance(record, Readings) for record in records) == min(2 * capacity, len(events))
    marks = [record.text for record in records if isinstance(record, Marked)]
    assert marks == [str(number) for number, event in enumerate(events) if event]


def test_of_each_type_the_newest_waits() -> None:
    waiting = NewestWins()
    session = Session(1, 0.0, "engine", 1, "as_found", 3)
    waiting.put(delivery(readings(0.0, 1), session))
    waiting.put(delivery(readings(1.0, 1), Gap(1, 1.0, 5)))
    waiting.put(delivery(readings(2.0, 1), Gap(1, 2.0, 6)))
    (only,) = waiting.take(10)
    assert [type(record).__name__ for record in only.records] == ["Session", "Readings", "Gap"]
    assert only.records[-1] == Gap(1, 2.0, 6)
    assert (waiting.dropped, waiting.dropped_events, len(waiting)) == (3, 1, 0)


def test_a_batch_that_failed_does_not_overtake_what_came_since() -> None:
    waiting = NewestWins()
    waiting.put(delivery(Gap(1, 2.0, 6)))
    (only,) = waiting.renew([delivery(Gap(1, 1.0, 5), Marked(1, 1.0, "note", "", "board"))])
    assert [record.t_s for record in only.records if not isinstance(record, Samples | Readings)] == [1.0, 2.0]
    assert (waiting.dropped, len(waiting)) == (1, 0)


@pytest.mark.parametrize("waiting", [KeepEvents(10), NewestWins()])
def test_nothing_waits_at_first(waiting: Backlog) -> None:
    assert (waiting.take(5), len(waiting)) == ([], 0)


def test_deliveries_with_different_clocks_are_not_joined() -> None:
    waiting = KeepEvents(10)
    early, late = delivery(Gap(1, 1.0, 1), offset_s=100.0), delivery(Gap(1, 2.0, 1), offset_s=200.0)
    waiting.put(early)
    waiting.put(early)
    waiting.put(late)
    assert [len(waiting.take(10)), len(waiting.take(10))] == [2, 1]


def test_joined_records_keep_order_and_clocks() -> None:
    together = join([delivery(Gap(1, 1.0, 1), offset_s=100.0), delivery(Gap(2, 0.5, 1), offset_s=200.0)])
    assert [record.segment for record in together.records] == [1, 2]
    assert together.utc_offset_s == {1: 100.0, 2: 200.0}
