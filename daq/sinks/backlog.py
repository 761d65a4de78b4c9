"""What waits for a sink, and what gives way when the sink does not keep up. No clock, no I/O, no asyncio."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Protocol

from daq.records import Delivery, Readings, Record, Samples


class DropPolicy(StrEnum):
    """NEVER_DROP: events are kept whatever happens, samples and readings give way beyond a stated number.
    NEWEST_WINS: of each type of record only the newest waits."""

    NEVER_DROP = "never_drop"
    NEWEST_WINS = "newest_wins"


class Backlog(Protocol):
    """The deliveries that wait for one sink. `dropped` counts records, `dropped_events` those that were events."""

    dropped: int
    dropped_events: int

    def put(self, delivery: Delivery) -> None: ...

    def take(self, most: int) -> list[Delivery]:
        """Remove and return the oldest ones, at most `most`, that can be joined into one."""
        ...

    def renew(self, batch: list[Delivery]) -> list[Delivery]:
        """A batch that could not be written, as it should be tried again."""
        ...

    def __len__(self) -> int: ...


def backlog(policy: DropPolicy, capacity: int) -> Backlog:
    return KeepEvents(capacity) if policy is DropPolicy.NEVER_DROP else NewestWins()


def join(deliveries: Sequence[Delivery]) -> Delivery:
    """One delivery with the records of all, in order. Their clocks must agree (see `take`)."""
    if len(deliveries) == 1:
        return deliveries[0]
    records = tuple(record for delivery in deliveries for record in delivery.records)
    offsets = {segment: offset for delivery in deliveries for segment, offset in delivery.utc_offset_s.items()}
    return Delivery(records, offsets)


def is_event(record: Record) -> bool:
    return not isinstance(record, Samples | Readings)


class KeepEvents:
    """First in, first out; memory bounded by age.

    The newest `capacity` deliveries wait whole; older ones without their samples; beyond another `capacity`,
    without their readings as well. What is left of those is events, which are few, and are never dropped.
    """

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._whole: deque[Delivery] = deque()
        self._without_samples: deque[Delivery] = deque()
        self._events: deque[Delivery] = deque()
        self.dropped = 0
        self.dropped_events = 0

    def put(self, delivery: Delivery) -> None:
        self._whole.append(delivery)
        self._shed(self._whole, Samples, self._without_samples)
        self._shed(self._without_samples, Readings, self._events)

    def take(self, most: int) -> list[Delivery]:
        batch: list[Delivery] = []
        offsets: dict[int, float] = {}
        for queue in (self._events, self._without_samples, self._whole):
            while queue and len(batch) < most:
                if not _agree(offsets, queue[0].utc_offset_s):
                    return batch
                offsets.update(queue[0].utc_offset_s)
                batch.append(queue.popleft())
        return batch

    def renew(self, batch: list[Delivery]) -> list[Delivery]:
        return batch

    def __len__(self) -> int:
        return len(self._whole) + len(self._without_samples) + len(self._events)

    def _shed(self, queue: deque[Delivery], bulk: type[Samples] | type[Readings], rest: deque[Delivery]) -> None:
        if len(queue) <= self._capacity:
            return
        oldest = queue.popleft()
        kept = tuple(record for record in oldest.records if not isinstance(record, bulk))
        self.dropped += len(oldest.records) - len(kept)
        if kept:
            rest.append(Delivery(kept, oldest.utc_offset_s))


class NewestWins:
    """At most one delivery waits: the newest record of each type, so that a change of state is not lost to a
    newer number."""

    def __init__(self) -> None:
        self._waiting: Delivery | None = None
        self.dropped = 0
        self.dropped_events = 0

    def put(self, delivery: Delivery) -> None:
        self._waiting = self._newest([self._waiting, delivery] if self._waiting else [delivery])

    def take(self, most: int) -> list[Delivery]:
        batch = [self._waiting] if self._waiting else []
        self._waiting = None
        return batch

    def renew(self, batch: list[Delivery]) -> list[Delivery]:
        return [self._newest([*batch, *self.take(1)])]

    def __len__(self) -> int:
        return int(self._waiting is not None)

    def _newest(self, deliveries: list[Delivery]) -> Delivery:
        together = join(deliveries)
        kept = _newest_of_each_type(together.records)
        gone = len(together.records) - len(kept)
        self.dropped += gone
        self.dropped_events += sum(map(is_event, together.records)) - sum(map(is_event, kept))
        return Delivery(kept, together.utc_offset_s)


def _newest_of_each_type(records: Iterable[Record]) -> tuple[Record, ...]:
    newest: dict[type, Record] = {}
    for record in records:
        newest.pop(type(record), None)
        newest[type(record)] = record
    return tuple(newest.values())


def _agree(known: Mapping[int, float], candidate: Mapping[int, float]) -> bool:
    """Whether joining keeps the UTC of every event: no segment may have two offsets."""
    return all(known.get(segment, offset) == offset for segment, offset in candidate.items())
