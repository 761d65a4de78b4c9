"""The check of the line against its published definition.

Source: Catalogue of parametrised CRC algorithms (reveng.sourceforge.io/crc-catalogue), entry CRC-16/IBM-3740, alias
CRC-16/CCITT-FALSE: width=16 poly=0x1021 init=0xffff refin=false refout=false xorout=0x0000 check=0x29b1 residue=0x0000.
"""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from daq.wire import crc16

WIDTH, POLY, INIT, XOROUT, CHECK, RESIDUE = 16, 0x1021, 0xFFFF, 0x0000, 0x29B1, 0x0000


def by_definition(data: bytes) -> int:
    """The parametrised model of the catalogue, bit by bit, for an algorithm that is not reflected."""
    register = INIT
    for byte in data:
        register ^= byte << (WIDTH - 8)
        for _ in range(8):
            carry = register >> (WIDTH - 1)
            register = (register << 1) & ((1 << WIDTH) - 1)
            register ^= POLY if carry else 0
    return register ^ XOROUT


def test_check_value() -> None:
    assert crc16(b"123456789") == CHECK
    assert by_definition(b"123456789") == CHECK


def test_empty_is_the_initial_value() -> None:
    assert crc16(b"") == INIT


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_the_definition_bit_by_bit(data: bytes) -> None:
    assert crc16(data) == by_definition(data)


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_residue(data: bytes) -> None:
    assert crc16(data + crc16(data).to_bytes(2, "big")) == RESIDUE
