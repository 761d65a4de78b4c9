from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.records import Chunk, Input, LineFormat, LinkDown, LinkUp, Mark
from daq.sources.replay import replay
from tests.suites.deliveries import BOARD

UP = LinkUp(0.0, BOARD)
BARE = LinkUp(0.0, replace(BOARD, line_format=LineFormat.BARE))


def chunks(first: int, count: int) -> list[Chunk]:
    return [Chunk(float(number), b"%04d\n" % number) for number in range(first, first + count)]


def test_without_joining_the_inputs_come_as_they_are() -> None:
    log: list[Input] = [UP, *chunks(0, 5), Mark(9.0, "next"), LinkDown(9.5, "end")]
    assert list(replay(log)) == log


def test_chunks_are_joined_up_to_a_size_and_never_across_anything_else() -> None:
    log: list[Input] = [UP, *chunks(0, 5), Mark(4.5, "next"), *chunks(5, 1), LinkDown(9.5, "end")]
    assert list(replay(log, coalesce_bytes=15)) == [
        UP,
        Chunk(2.0, b"0000\n0001\n0002\n"),
        Chunk(4.0, b"0003\n0004\n"),
        Mark(4.5, "next"),
        Chunk(5.0, b"0005\n"),
        LinkDown(9.5, "end"),
    ]


@pytest.mark.parametrize("before", [[], [BARE], [UP, LinkDown(0.0, "gone")]])
def test_what_may_depend_on_the_arrival_is_not_joined(before: list[Input]) -> None:
    log = [*before, *chunks(0, 5)]
    assert list(replay(log, coalesce_bytes=1000)) == log


@given(st.lists(st.sampled_from([UP, BARE, LinkDown(1.0, "gone"), *chunks(0, 6)]), max_size=40), st.integers(0, 30))
def test_no_byte_is_lost_or_moved(log: list[Input], size: int) -> None:
    def flat(items: list[Input]) -> list[object]:
        parts: list[object] = []
        for item in items:
            parts.extend(item.data if isinstance(item, Chunk) else [item])
        return parts

    assert flat(list(replay(log, size))) == flat(log)
