"""Puts a program's CRC-16 behind it, lowest byte first, where the program itself will look for it.

python3 seal.py PROGRAM.bin SEALED.bin
"""

from __future__ import annotations

import binascii
import sys
from pathlib import Path


def main(program: str, sealed: str) -> None:
    data = Path(program).read_bytes()
    Path(sealed).write_bytes(data + binascii.crc_hqx(data, 0xFFFF).to_bytes(2, "little"))


if __name__ == "__main__":
    main(*sys.argv[1:])
