"""Samples as compressed blocks, and back without losing a bit. Pure: no database, no clock.

A block, all little-endian: version (1 byte) and number of samples (4); for each of t_us, supply_count,
cylinder_count, reference and flags: predictor (1), width (1), first value (8), last minus first (8); one raw DEFLATE
stream (RFC 1951); CRC-32 of all that (4). In the stream, for each column: the residuals of its predictor, folded to
unsigned ("zigzag"), their bytes regrouped by significance ("shuffle"), only `width` byte planes of them.

Of two predictors the one that leaves less is taken: DELTA (the value before plus the mean step) for what moves, LINE
(from the first to the last) for noise on a held pressure, where a difference doubles the variance. To look for
repeated strings in noise costs time and finds none, so DEFLATE only counts runs (Z_RLE).
"""

from __future__ import annotations

import struct
import zlib
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from daq.errors import DataError
from daq.records import Ints, Samples

VERSION = 1
MAX_SAMPLES = 1 << 20
COLUMNS = ("t_us", "supply_count", "cylinder_count", "reference", "flags")

_HEAD = struct.Struct("<BI")
_COLUMN = struct.Struct("<BBqq")
_CRC = struct.Struct("<I")
_HEADS = _HEAD.size + _COLUMN.size * len(COLUMNS)

Folded = npt.NDArray[np.uint64]


class Predictor(IntEnum):
    DELTA = 1
    LINE = 2


def encode(samples: Samples) -> bytes:
    """The block of 1 to MAX_SAMPLES samples; their `segment` is not in it. ValueError for any other number."""
    n = len(samples.t_us)
    if not 1 <= n <= MAX_SAMPLES:
        raise ValueError(f"a block holds 1 to {MAX_SAMPLES} samples, not {n}")
    columns = [_encode_column(getattr(samples, name)) for name in COLUMNS]
    squeeze = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS, 9, zlib.Z_RLE)
    squeezed = squeeze.compress(b"".join(planes for _, planes in columns)) + squeeze.flush()
    block = b"".join([_HEAD.pack(VERSION, n), *(head for head, _ in columns), squeezed])
    return block + _CRC.pack(zlib.crc32(block))


def decode(block: bytes, segment: int) -> Samples:
    """The samples of a block, exactly. DataError where it is damaged or of a newer version."""
    if len(block) < _HEADS + _CRC.size or _CRC.pack(zlib.crc32(block[: -_CRC.size])) != block[-_CRC.size :]:
        raise _damaged(f"{len(block)} bytes with a wrong checksum")
    version, n = _HEAD.unpack_from(block)
    if version != VERSION:
        raise DataError(f"A block of samples has version {version}; this program reads {VERSION}", "Update boretight.")
    heads = list(_COLUMN.iter_unpack(block[_HEAD.size : _HEADS]))
    if not 1 <= n <= MAX_SAMPLES or any(width > 8 for _, width, _, _ in heads):
        raise _damaged(f"it claims to hold {n} samples")
    return Samples(segment, *_decode_columns(n, heads, block[_HEADS : -_CRC.size]))


def _decode_columns(n: int, heads: list[tuple[int, int, int, int]], squeezed: bytes) -> list[Ints]:
    size = n * sum(width for _, width, _, _ in heads)
    try:
        planes = zlib.decompressobj(-zlib.MAX_WBITS).decompress(squeezed, size + 1)
    except zlib.error as error:
        raise _damaged(str(error)) from error
    if len(planes) != size:
        raise _damaged(f"{len(planes)} bytes where {size} belong")
    columns, at = [], 0
    for predictor, width, first, span in heads:
        folded = _unshuffle(planes[at : at + n * width], n, width)
        columns.append(_restored(_unfold(folded), predictor, first, span))
        at += n * width
    return columns


def _encode_column(values: Ints) -> tuple[bytes, bytes]:
    """Head and byte planes of a column."""
    first, span = int(values[0]), int((values[-1:] - values[:1])[0])
    folded = {predictor: _fold(_residuals(values, predictor, first, span)) for predictor in Predictor}
    best = min(folded, key=lambda predictor: float(folded[predictor].sum(dtype=np.float64)))
    width = (int(folded[best].max()).bit_length() + 7) // 8
    return _COLUMN.pack(best, width, first, span), _shuffle(folded[best], width)


def _line(n: int, span: int) -> Ints:
    """From 0 to `span` in n points. All arithmetic here is modulo 2^64, on both ways alike, and so exact."""
    return np.arange(n, dtype=np.int64) * np.int64(span) // max(n - 1, 1)


def _residuals(values: Ints, predictor: int, first: int, span: int) -> Ints:
    off_line = values - np.int64(first)
    if predictor == Predictor.LINE:
        return off_line - _line(len(values), span)
    residuals = np.zeros_like(off_line)
    residuals[1:] = np.diff(off_line) - span // max(len(values) - 1, 1)
    return residuals


def _restored(residuals: Ints, predictor: int, first: int, span: int) -> Ints:
    n = len(residuals)
    if predictor == Predictor.LINE:
        return np.int64(first) + (_line(n, span) + residuals)
    if predictor != Predictor.DELTA:
        raise _damaged(f"unknown predictor {predictor}")
    residuals[1:] += span // max(n - 1, 1)
    return np.int64(first) + np.cumsum(residuals)


def _fold(signed: Ints) -> Folded:
    """0, -1, 1, -2 ... to 0, 1, 2, 3 ..., so that small numbers of either sign have empty high bytes."""
    return ((signed << 1) ^ (signed >> 63)).view(np.uint64)


def _unfold(folded: Folded) -> Ints:
    return (folded >> np.uint64(1)).view(np.int64) ^ -(folded & np.uint64(1)).view(np.int64)


def _shuffle(folded: Folded, width: int) -> bytes:
    return folded.astype("<u8").view(np.uint8).reshape(-1, 8)[:, :width].T.tobytes()


def _unshuffle(planes: bytes, n: int, width: int) -> Folded:
    whole = np.zeros((n, 8), np.uint8)
    whole[:, :width] = np.frombuffer(planes, np.uint8).reshape(width, n).T
    return whole.reshape(-1).view("<u8").astype(np.uint64, copy=False)


def _damaged(evidence: str) -> DataError:
    todo = "The raw log still has these samples: replay it into a new database."
    return DataError("A block of samples in the database is damaged", todo, evidence)
