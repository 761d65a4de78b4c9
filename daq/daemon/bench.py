"""What a configuration makes of a bench, whether its daemon runs or not."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.metadata import version

from daq.calibration_files import newest
from daq.config import Config, LineSection
from daq.records import Calibration
from daq.sources.ports import LineSettings, UsbBoard


def software() -> str:
    """Name and version, as they go into headers and descriptions."""
    return f"boretight {version('boretight')}"


def calibration_in_force(config: Config, complain: Callable[[str], None]) -> Calibration:
    """The newest calibration records of the bench over the data sheets; `complain` is told of those not used."""
    diameter_m = config.measuring_instrument().restrictor_diameter_m
    return newest(config.storage.calibrations, config.calibration_record(), diameter_m, complain)


def new_boot_id(utc_s: float) -> str:
    """Names one run of the daemon: when it began, and four random bytes against two at the same second."""
    return f"{datetime.fromtimestamp(utc_s, UTC):%Y%m%dt%H%M%Sz}-{secrets.token_hex(4)}"


def line_settings(section: LineSection) -> LineSettings:
    """The checked configuration as the source takes it."""
    usb = UsbBoard(section.usb.vendor, section.usb.product, section.usb.serial) if section.usb else None
    return LineSettings(section.port, usb, section.baud, section.rate_hz, section.format, section.bare_bits)
