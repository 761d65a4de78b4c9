"""Sample frames, many at a time: both directions work on whole arrays.

A row is `S,SSSS,CCCCCCCC,PPPP,QQQQ,RRRR,FF*KKKK` and LF. Its CRC is that of a row of zeros, exclusive-or what each
digit contributes at its place: a CRC is linear.
"""

from __future__ import annotations

from binascii import crc_hqx, unhexlify
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.wire.crc import INITIAL

U8 = npt.NDArray[np.uint8]
U16 = npt.NDArray[np.uint16]
U32 = npt.NDArray[np.uint32]

_ROW = b"S,0000,00000000,0000,0000,0000,00*0000\n"
SAMPLE_BYTES = len(_ROW)
SAMPLE_LINE_BYTES = SAMPLE_BYTES - 1
_BODY_BYTES = _ROW.index(b"*")
_RECORD = np.dtype(
    [
        ("sequence", ">u2"),
        ("clock_us", ">u4"),
        ("supply_count", ">u2"),
        ("cylinder_count", ">u2"),
        ("reference", ">u2"),
        ("flags", "u1"),
        ("crc", ">u2"),
    ]
)
_DIGITS = np.frombuffer(b"0123456789ABCDEF", np.uint8)
_TEMPLATE = np.frombuffer(_ROW, np.uint8)
_HEX_COLUMNS = np.array([column for column, byte in enumerate(_ROW) if byte == ord("0")])
_HIGH, _LOW = _HEX_COLUMNS[0::2], _HEX_COLUMNS[1::2]


def _kinds() -> bytes:
    """Each byte to what the grammar makes of it: a hexadecimal digit to 0, a separator to itself, the rest to NUL."""
    kinds = bytearray(256)
    for kind in b"S,*":
        kinds[kind] = kind
    for digit in _DIGITS:
        kinds[digit] = ord("0")
    return bytes(kinds)


def _crc_tables() -> U16:
    """What each packed byte of a row, shape (bytes before the CRC, 256), does to the CRC of a row of zeros."""
    zeros = crc_hqx(_ROW[:_BODY_BYTES], INITIAL)
    digits = np.zeros((_HEX_COLUMNS.searchsorted(_BODY_BYTES), len(_DIGITS)), np.uint16)
    for place, column in enumerate(_HEX_COLUMNS[: len(digits)]):
        for value, digit in enumerate(_DIGITS):
            body = bytearray(_ROW[:_BODY_BYTES])
            body[column] = digit
            digits[place, value] = crc_hqx(body, INITIAL) ^ zeros
    tables = digits[0::2, :, None] ^ digits[1::2, None, :]
    tables[0] ^= np.uint16(zeros)
    return tables.reshape(len(tables), 256)


_KINDS = _kinds()
_LINE = np.dtype((np.bytes_, SAMPLE_LINE_BYTES))
_ZEROS = _ROW[:SAMPLE_LINE_BYTES]
_CRC_TABLES = _crc_tables()
_CRC_PLACES = 256 * np.arange(len(_CRC_TABLES))


@dataclass(frozen=True, slots=True, eq=False)
class SampleBlock:
    """Consecutive samples of one feed, one row a sample; all arrays have the same length.

    `clock_us` is the board's clock at the midpoint of the conversions, modulo 2^32; `sequence` counts modulo 2^16.
    """

    sequence: U16
    clock_us: U32
    supply_count: U16
    cylinder_count: U16
    reference: U16
    flags: U8

    def __post_init__(self) -> None:
        for name in _COLUMNS:
            column = getattr(self, name)
            if column.dtype != _NATIVE[name] or column.shape != (len(self.sequence),):
                raise ValueError(f"{name} must be {_NATIVE[name]}, one for each sample; it is {column.dtype}")

    def __len__(self) -> int:
        return len(self.sequence)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, SampleBlock):
            return NotImplemented
        return all(np.array_equal(getattr(self, name), getattr(other, name)) for name in _COLUMNS)

    __hash__ = None  # type: ignore[assignment]

    def rows(self, start: int, stop: int) -> SampleBlock:
        """The samples from `start` up to `stop`, without a copy."""
        return SampleBlock(*(getattr(self, name)[start:stop] for name in _COLUMNS))

    def encode(self) -> bytes:
        """The lines of all samples, each with its LF."""
        record = np.zeros(len(self), _RECORD)
        for name in _COLUMNS:
            record[name] = getattr(self, name)
        record["crc"] = _crc(record.view(np.uint8).reshape(-1, _RECORD.itemsize))
        return _print(record).tobytes()

    @classmethod
    def decode(cls, lines: Sequence[bytes]) -> tuple[SampleBlock, npt.NDArray[np.bool_]]:
        """Lines of exactly `SAMPLE_LINE_BYTES` each, without LF: the samples, and which of them are right.

        A row that is not right (grammar or CRC) holds no meaning.
        """
        grammar = np.frombuffer(b"".join(lines).translate(_KINDS), _LINE) == _ZEROS
        if not grammar.all():
            lines = [line if fits else _ZEROS for line, fits in zip(lines, grammar.tolist(), strict=True)]
        packed = unhexlify(b"".join(lines).translate(None, b"S,*"))
        record = np.frombuffer(packed, _RECORD)
        right = grammar & (record["crc"] == _crc(np.frombuffer(packed, np.uint8).reshape(-1, _RECORD.itemsize)))
        return cls(*(record[name].astype(_NATIVE[name]) for name in _COLUMNS)), right


_COLUMNS = tuple(field.name for field in fields(SampleBlock))
_NATIVE = {name: _RECORD[name].newbyteorder("=") for name in _COLUMNS}


def _crc(packed: npt.NDArray[np.integer[Any]]) -> U16:
    """CRC of each row, from its packed bytes."""
    contributions = _CRC_TABLES.take(packed[:, : len(_CRC_TABLES)] + _CRC_PLACES)
    crc: U16 = np.bitwise_xor.reduce(contributions, axis=1)
    return crc


def _print(record: npt.NDArray[np.void]) -> U8:
    """Rows of text, (n, SAMPLE_BYTES), of packed records."""
    packed = record.view(np.uint8).reshape(-1, _RECORD.itemsize)
    rows = np.tile(_TEMPLATE, (len(record), 1))
    rows[:, _HIGH] = _DIGITS[packed >> 4]
    rows[:, _LOW] = _DIGITS[packed & 0x0F]
    return rows
