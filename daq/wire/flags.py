"""Bit fields and codes that frames carry."""

from __future__ import annotations

from enum import IntEnum, IntFlag

PROTOCOL_VERSION = 1


class Flag(IntFlag):
    """Flags of a sample. Bit 7 is reserved: a board sends 0, a host ignores it."""

    MARK_DOWN = 0x01
    OVERRUN = 0x02
    TRANSMIT_DROP = 0x04
    REFERENCE_LOW = 0x08
    REFERENCE_HIGH = 0x10
    SATURATED = 0x20
    CALIBRATION_VALID = 0x40


class ResetCause(IntEnum):
    """Why a board started, as its boot line says."""

    UNKNOWN = 0
    POWER_ON = 1
    EXTERNAL = 2
    BROWN_OUT = 3
    WATCHDOG = 4
    SOFTWARE = 5


class SelfTest(IntFlag):
    """Bits of the answer to `*TST?`; 0 is a board that found nothing wrong."""

    REFERENCE = 0x01
    SUPPLY_CHANNEL = 0x02
    CYLINDER_CHANNEL = 0x04
    CALIBRATION_STORE = 0x08
    PROGRAM = 0x10
