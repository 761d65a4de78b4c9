"""Which port: by path, by URL, by USB identity. pyserial is imported late: most commands need no port."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from daq.errors import UnavailableError

if TYPE_CHECKING:
    import serial


@dataclass(frozen=True, slots=True)
class UsbBoard:
    """Four hex digits each for vendor and product; the serial number where the board has one."""

    vendor: str
    product: str
    serial: str | None = None


@dataclass(frozen=True, slots=True)
class LineSettings:
    """Where the board is and how to talk to it; `port` is a path or a URL that pyserial understands."""

    port: str | None = None
    usb: UsbBoard | None = None
    baud: int = 115_200
    rate_hz: int = 200
    line_format: str = "auto"
    bare_bits: int = 10


class ListedPort(Protocol):
    """What this module reads of pyserial's port information."""

    device: str
    vid: int | None
    pid: int | None
    serial_number: str | None


def listed_ports() -> list[ListedPort]:
    """The serial ports that the system lists; pseudo-terminals are not among them."""
    from serial.tools import list_ports

    return list(list_ports.comports())


def find(settings: LineSettings, listed: Iterable[ListedPort] | None = None) -> str:
    """The path or URL to open now. A USB board is looked up anew each time, as a replug may rename it.

    Raises UnavailableError with the ports that are there.
    """
    if settings.port:
        return settings.port
    ports = list(listed_ports() if listed is None else listed)
    candidates = [p for p in ports if p.vid is not None and _matches(p, settings.usb)]
    if len(candidates) == 1 or (candidates and settings.usb):
        return candidates[0].device
    wanted = _name(settings.usb) if settings.usb else "a single USB serial board"
    raise UnavailableError(
        f"Looked for {wanted} and found {len(candidates)}.",
        todo="Plug the board in, or name its port under [line] port in the configuration; "
        "`boretight ports` lists them, `--simulate` needs none.",
        evidence=", ".join(p.device for p in ports) or "no serial port at all",
    )


def _matches(port: ListedPort, usb: UsbBoard | None) -> bool:
    if usb is None:
        return True
    return (
        port.vid == int(usb.vendor, 16)
        and port.pid == int(usb.product, 16)
        and (usb.serial is None or usb.serial == port.serial_number)
    )


def _name(usb: UsbBoard) -> str:
    serial = f" with serial number {usb.serial}" if usb.serial else ""
    return f"USB board {usb.vendor}:{usb.product}{serial}"


def open_port(url: str, baud: int) -> serial.Serial:
    """Opens for us alone, reads without blocking. Raises UnavailableError, saying what the system said."""
    import serial

    try:
        port = serial.serial_for_url(url, baudrate=baud, timeout=0, write_timeout=2, do_not_open=True)
        if "://" not in url:
            port.exclusive = True
        port.open()
    except (OSError, ValueError) as error:
        raise UnavailableError(f"The port {url} cannot be opened.", todo=_advice(error), evidence=str(error)) from error
    return port


def _advice(error: Exception) -> str:
    text = str(error).lower()
    if "lock" in text or "busy" in text or "in use" in text:
        return "Another program holds the port; close it (a serial monitor, a second daemon)."
    if "permission" in text or "denied" in text:
        return "Your user may not open it; on Debian: sudo adduser $USER dialout, then log in again."
    if "no such file" in text or "cannot find" in text:
        return "Is the board plugged in? `boretight ports` lists what is there."
    return "Check the port's name; `boretight ports` lists what is there."
