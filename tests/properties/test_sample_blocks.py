from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from daq.errors import DataError
from daq.records import Samples
from daq.sinks.store.sample_blocks import COLUMNS, decode, encode
from tests.suites.deliveries import samples

anything = st.integers(-(2**63), 2**63 - 1)
small = st.integers(0, 65535)


@st.composite
def any_samples(draw: st.DrawFn) -> Samples:
    n = draw(st.integers(1, 300))
    columns = [draw(arrays(np.int64, n, elements=draw(st.sampled_from([anything, small])))) for _ in COLUMNS]
    return Samples(draw(st.integers(0, 9)), *columns)


def same(left: Samples, right: Samples) -> bool:
    return left.segment == right.segment and all(
        np.array_equal(getattr(left, name), getattr(right, name)) and getattr(right, name).dtype == np.int64
        for name in COLUMNS
    )


@given(any_samples())
def test_any_samples_come_back_exactly(block: Samples) -> None:
    assert same(block, decode(encode(block), block.segment))


@given(st.integers(1, 3000), st.integers(0, 2**62), st.data())
def test_real_clocks_with_jitter_and_gaps_come_back_exactly(n: int, start: int, data: st.DataObject) -> None:
    seed = data.draw(st.integers(0, 2**32))
    rng = np.random.default_rng(seed)
    gaps = np.where(rng.random(n) < 0.01, rng.integers(0, 10**7, n), 0)
    t_us = start + np.cumsum(5000 + rng.integers(-4, 5, n) + gaps)
    counts = rng.integers(0, 65536, (4, n))
    block = Samples(3, t_us, *counts)
    assert same(block, decode(encode(block), 3))


@given(st.data())
def test_any_damage_is_noticed(data: st.DataObject) -> None:
    block = bytearray(encode(samples(0, data.draw(st.integers(1, 300)))))
    place = data.draw(st.integers(0, len(block) - 1))
    block[place] ^= data.draw(st.integers(1, 255))
    with pytest.raises(DataError, match="damaged"):
        decode(bytes(block), 1)


@given(st.integers(0, 200))
def test_a_block_that_was_cut_is_noticed(length: int) -> None:
    with pytest.raises(DataError, match="damaged"):
        decode(encode(samples(0, 300))[:length], 1)


@given(st.binary(max_size=300))
def test_no_garbage_is_read_as_samples(garbage: bytes) -> None:
    with pytest.raises(DataError):
        decode(garbage, 1)
