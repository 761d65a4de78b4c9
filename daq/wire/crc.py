"""The check that ends every framed line.

Ref: Catalogue of parametrised CRC algorithms, CRC-16/IBM-3740 (alias CRC-16/CCITT-FALSE): width 16, polynomial
0x1021, initial value 0xFFFF, not reflected, no final exclusive-or, check value 0x29B1 for "123456789".
"""

from __future__ import annotations

from binascii import crc_hqx

INITIAL = 0xFFFF


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740 of `data`, 0 to 0xFFFF."""
    return crc_hqx(data, INITIAL)


def seal(body: bytes) -> bytes:
    """The framed line of `body`: the body, `*`, four upper-case hexadecimal digits of its CRC, LF."""
    return b"%b*%04X\n" % (body, crc16(body))
