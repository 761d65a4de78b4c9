"""Finding the board: by what it is, not by what the system calls it today."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from daq.errors import UnavailableError
from daq.sources.ports import LineSettings, UsbBoard, find, open_port


@dataclass(frozen=True)
class Listed:
    device: str
    vid: int | None = None
    pid: int | None = None
    serial_number: str | None = None


OLD_PORT = Listed("/dev/ttyS0")
BOARD = Listed("/dev/ttyUSB1", 0x1A2B, 0x0001, "A7")
TWIN = Listed("/dev/ttyUSB0", 0x1A2B, 0x0001, "B9")
OTHER = Listed("/dev/ttyACM0", 0x3C4D, 0x0001, "A7")


def test_a_named_port_is_taken_as_it_is() -> None:
    assert find(LineSettings(port="socket://127.0.0.1:7000"), []) == "socket://127.0.0.1:7000"


def test_the_serial_number_tells_twins_apart() -> None:
    usb = UsbBoard("1a2b", "0001", "A7")
    assert find(LineSettings(usb=usb), [TWIN, OTHER, BOARD]) == "/dev/ttyUSB1"


def test_vendor_and_product_do_where_there_is_no_serial_number() -> None:
    assert find(LineSettings(usb=UsbBoard("1A2B", "0001")), [OLD_PORT, OTHER, BOARD]) == "/dev/ttyUSB1"


def test_with_nothing_configured_the_only_usb_board_is_it() -> None:
    assert find(LineSettings(), [OLD_PORT, BOARD]) == "/dev/ttyUSB1"


@pytest.mark.parametrize("listed", [[], [OLD_PORT], [BOARD, OTHER]])
def test_none_or_many_is_an_error_that_lists_what_is_there(listed: list[Listed]) -> None:
    with pytest.raises(UnavailableError) as caught:
        find(LineSettings(), listed)
    assert all(port.device in str(caught.value) for port in listed)


def test_a_missing_board_is_named() -> None:
    with pytest.raises(UnavailableError, match="1a2b:0001 with serial number A7"):
        find(LineSettings(usb=UsbBoard("1a2b", "0001", "A7")), [OTHER])


def test_a_port_that_is_not_there_says_what_to_do() -> None:
    with pytest.raises(UnavailableError) as caught:
        open_port("/dev/no-such-port", 115_200)
    assert "boretight ports" in caught.value.todo
    assert "no-such-port" in caught.value.evidence


def test_a_url_that_pyserial_does_not_know_is_a_clear_error() -> None:
    with pytest.raises(UnavailableError):
        open_port("nonsense://x", 115_200)
