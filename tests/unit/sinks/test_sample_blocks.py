from __future__ import annotations

import struct
import zlib

import numpy as np
import pytest

from daq.errors import DataError
from daq.records import Samples
from daq.sinks.store.sample_blocks import MAX_SAMPLES, decode, encode


def bench(rate_hz: int, seconds: int, noise_counts: float, held: bool) -> Samples:
    """A bench of 16-bit counts: white noise on pressures that are held or move, and 1 us of jitter on the clock."""
    rng = np.random.default_rng(1)
    n = rate_hz * seconds
    t_s = np.arange(n) / rate_hz
    slow = 0.0 if held else 200 * np.sin(0.7 * t_s)
    supply, cylinder = 30_000 + slow + rng.normal(0, noise_counts, n), 22_000 - slow + rng.normal(0, noise_counts, n)
    clock = np.arange(n) * (1_000_000 // rate_hz) + rng.integers(0, 2, n)
    whole = [np.rint(column).astype(np.int64) for column in (clock, supply, cylinder)]
    return Samples(1, *whole, np.full(n, 50_000), np.full(n, 64))


@pytest.mark.parametrize("rate_hz", [200, 1000])
@pytest.mark.parametrize("held", [True, False])
def test_ten_seconds_of_noise_cost_at_most_1_75_bytes_a_sample(rate_hz: int, held: bool) -> None:
    """Noise of 4 counts is 61 ppm of 16 bits: a good converter on a quiet bench, oversampled."""
    block = bench(rate_hz, 10, 4.0, held)
    assert len(encode(block)) / len(block.t_us) <= 1.75


def test_a_steady_line_costs_nothing() -> None:
    n = 1000
    steady = Samples(1, np.arange(n) * 5000, np.full(n, 7), np.full(n, 9), np.full(n, 5), np.full(n, 0))
    assert len(encode(steady)) < 110


def test_noise_on_a_held_pressure_is_not_differenced() -> None:
    """White noise has half the variance of its differences: half a bit less for each count, by entropy."""
    n = 10_000
    noise = np.rint(30_000 + np.random.default_rng(2).normal(0, 16, n)).astype(np.int64)
    constant = np.zeros(n, np.int64)
    size = len(encode(Samples(1, np.arange(n), noise, constant, constant, constant)))
    entropy_bits = np.log2(16 * np.sqrt(2 * np.pi * np.e))  # of a normal distribution, in counts
    assert size * 8 / n < entropy_bits + 0.25


@pytest.mark.parametrize("count", [0, MAX_SAMPLES + 1])
def test_a_number_of_samples_that_no_block_holds_is_refused(count: int) -> None:
    column = np.zeros(count, np.int64)
    with pytest.raises(ValueError, match="a block holds"):
        encode(Samples(1, column, column, column, column, column))


def sealed(body: bytes) -> bytes:
    return body + struct.pack("<I", zlib.crc32(body))


def test_a_newer_version_says_so() -> None:
    body = encode(bench(200, 1, 4.0, True))[:-4]
    with pytest.raises(DataError, match="version 2; this program reads 1"):
        decode(sealed(b"\x02" + body[1:]), 1)


@pytest.mark.parametrize(
    "body",
    [
        b"\x01" + struct.pack("<I", 0) + bytes(90),
        b"\x01" + struct.pack("<I", 2**32 - 1) + bytes(90),
        b"\x01" + struct.pack("<I", 3) + struct.pack("<BBqq", 1, 9, 0, 0) * 5,
        b"\x01" + struct.pack("<I", 3) + struct.pack("<BBqq", 7, 0, 0, 0) * 5 + b"\x03\x00",
        b"\x01" + struct.pack("<I", 3) + struct.pack("<BBqq", 1, 1, 0, 0) * 5 + b"\x03\x00",
        b"\x01" + struct.pack("<I", 3) + struct.pack("<BBqq", 1, 1, 0, 0) * 5 + b"\xff\xff",
    ],
)
def test_nonsense_with_a_right_checksum_is_refused(body: bytes) -> None:
    with pytest.raises(DataError, match="damaged"):
        decode(sealed(body), 1)


def test_a_stream_that_would_swell_is_not_expanded() -> None:
    bomb = zlib.compress(bytes(50_000_000), 9)[2:-4]
    body = b"\x01" + struct.pack("<I", 3) + struct.pack("<BBqq", 1, 1, 0, 0) * 5 + bomb
    with pytest.raises(DataError, match="16 bytes where 15 belong"):
        decode(sealed(body), 1)
