"""`boretight ports`: which serial ports there are, and what answers on them."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from daq.cli.output import print_json, print_table
from daq.errors import BoretightError
from daq.records import LineFormat
from daq.sources.handshake import handshake
from daq.sources.ports import LineSettings, listed_ports, open_port


@dataclass(frozen=True, slots=True)
class Found:
    port: str
    usb: str
    answers: str


def ports(probe: bool, baud: int, as_json: bool, also: list[str]) -> None:
    listed = [(p.device, _usb(p.vid, p.pid, p.serial_number)) for p in listed_ports()] + [(url, "") for url in also]
    found = [Found(url, usb, who_answers(url, baud) if probe else "not asked") for url, usb in listed]
    if as_json:
        print_json([asdict(port) for port in found])
    elif not found:
        print("No serial port is listed. Pseudo-terminals never are: name them after the command.")
    else:
        print_table("Serial ports", ["port", "usb", "answers"], [[f.port, f.usb, f.answers] for f in found])


def who_answers(url: str, baud: int) -> str:
    """The board's identity, or in a few words why there is none."""
    try:
        port = open_port(url, baud)
    except BoretightError as error:
        return f"cannot be opened: {error.evidence}"
    try:
        board = handshake(port, url, LineSettings(port=url, baud=baud), lambda data: None)
    except (BoretightError, OSError) as error:
        return f"no board: {error}".splitlines()[0]
    finally:
        port.close()
    if board.line_format is LineFormat.BARE:
        return "a board that prints two numbers a line"
    return f"{board.maker} {board.model} {board.serial}, firmware {board.firmware}, {board.bits} bit"


def _usb(vendor: int | None, product: int | None, serial: str | None) -> str:
    return "" if vendor is None or product is None else f"{vendor:04x}:{product:04x} {serial or ''}".strip()
