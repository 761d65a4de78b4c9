"""Commands: what a host writes, and the rules that are not plain data. The rest is in the golden vectors."""

from __future__ import annotations

import pytest

from daq.wire import ERROR_TEXTS, SAMPLE_BYTES, Command, CommandError, encode_command, max_rate_hz, parse_command


def test_a_host_tags_its_commands() -> None:
    assert encode_command("CONF:RATE 200", 0xA1) == b"@00A1 CONF:RATE 200\n"
    assert encode_command("*IDN?", None) == b"*IDN?\n"
    assert parse_command(encode_command("init", 0xFFFF)) == Command("INITIATE", False, (), 0xFFFF)


@pytest.mark.parametrize("text", ["*IDN?\n*RST", "x" * 81, "caf\x1b"])
def test_a_host_cannot_write_what_is_no_command_line(text: str) -> None:
    with pytest.raises(ValueError, match="not a command line"):
        encode_command(text, None)


def test_a_refusal_carries_number_text_and_tag() -> None:
    with pytest.raises(CommandError, match="-222") as refused:
        parse_command(b"@0102 CONF:RATE 0\n")
    assert (refused.value.number, refused.value.text, refused.value.tag) == (-222, "Data out of range", 0x0102)


def test_a_blank_line_is_no_command() -> None:
    with pytest.raises(CommandError):
        parse_command(b"\r\n")


def test_the_longest_command_fits() -> None:
    longest = b"@FFFF CALIBRATION:DATA CYLINDER,-10000000,2000000000,20991231"
    assert parse_command(longest.ljust(80)).arguments == ("CYLINDER", "-10000000", "2000000000", "20991231")
    with pytest.raises(CommandError):
        parse_command(longest.ljust(81))


@pytest.mark.parametrize(("baud", "rate"), [(57_600, 118), (115_200, 236), (500_000, 1025)])
def test_samples_take_at_most_80_percent_of_the_link(baud: int, rate: int) -> None:
    bits_a_second = 10 * SAMPLE_BYTES
    assert int(max_rate_hz(baud)) == rate
    assert rate * bits_a_second <= 0.8 * baud < (rate + 1) * bits_a_second


def test_texts_are_those_of_the_standard() -> None:
    """Source: SCPI-1999 volume 2, 21.8 (numbers and texts); value from memory."""
    assert ERROR_TEXTS == {
        0: "No error",
        -104: "Data type error",
        -108: "Parameter not allowed",
        -109: "Missing parameter",
        -113: "Undefined header",
        -221: "Settings conflict",
        -222: "Data out of range",
        -224: "Illegal parameter value",
        -350: "Queue overflow",
    }
