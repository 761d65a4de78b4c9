"""The specification as a document: its examples are sound, and its tables say what the code says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from daq.sources.conformance_report import REQUIREMENTS
from daq.wire import (
    DEFAULT_RATE_HZ,
    ERROR_TEXTS,
    MAX_LINE_BYTES,
    SAMPLE_BYTES,
    BadFrame,
    BadReason,
    BareBlock,
    BareDecoder,
    Decoder,
    Flag,
    Reply,
    SampleBlock,
    max_rate_hz,
    parse_command,
)

TEXT = (Path(__file__).parents[3] / "firmware_spec" / "protocol.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """The lines of all fenced blocks of a language."""
    found = re.findall(rf"^```{language}\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
    assert found
    return [line for block in found for line in block.splitlines()]


def rows(pattern: str) -> list[tuple[str, ...]]:
    """Cells of the table rows that match."""
    found = re.findall(pattern, TEXT, re.MULTILINE)
    assert found
    return found


@pytest.mark.parametrize("line", blocks("frames"))
def test_each_example_frame_is_sound(line: str) -> None:
    (frame,) = Decoder().feed(line.encode("ascii") + b"\n")
    assert not isinstance(frame, BadFrame)


def test_every_line_with_a_check_value_stands_in_a_tested_block() -> None:
    tested = {*blocks("frames"), *(line.removeprefix("< ") for line in blocks("session"))}
    written = re.findall(r"^(?:< )?([A-Z],.*\*[0-9A-F]{4})$", TEXT, re.MULTILINE)
    assert written and set(written) <= tested


def test_the_example_session_is_one() -> None:
    lines = blocks("session")
    for sent, answer in zip(lines[0::2], lines[1::2], strict=True):
        command = parse_command(sent.removeprefix("> ").encode())
        (reply,) = Decoder().feed(answer.removeprefix("< ").encode() + b"\n")
        assert isinstance(reply, Reply)
        assert reply.tag == command.tag


def test_bare_examples_are_bare_lines() -> None:
    (block,) = BareDecoder().feed("\n".join([*blocks("bare"), ""]).encode())
    assert isinstance(block, BareBlock)
    assert len(block) == 3


def test_the_fields_of_the_sample_stand_where_the_table_says() -> None:
    line = next(line for line in blocks("frames") if line.startswith("S,01A4"))
    table = rows(r"^\| (\d+)-(\d+) \| (sequence|clock|supply count|cylinder count|reference|flags|check) \| `([^`]+)`")
    assert [line[int(first) : int(last) + 1] for first, last, _, _ in table[:6]] == [row[3] for row in table[:6]]
    (block,) = Decoder().feed(line.encode() + b"\n")
    assert isinstance(block, SampleBlock)
    values = re.findall(r"^\| \d+-\d+ \| .*? \| `[0-9A-F]{4,8}` = (\d+)", TEXT, re.MULTILINE)[:5]
    columns = (block.sequence, block.clock_us, block.supply_count, block.cylinder_count, block.reference)
    assert [int(value) for value in values] == [column[0] for column in columns]


def test_the_worked_example_computes() -> None:
    """Sensor 0.5-4.5 V for 0-150 psi on 5 V: psi = (V - 0.5) * 37.5."""
    psi = [((count + 0.5) / 4096 * 5 - 0.5) * 37.5 for count in (2594, 2419)]
    assert [f"{value:.2f}" for value in psi] == ["100.02", "92.01"]
    assert "100.02 psi" in TEXT and "92.01 psi" in TEXT
    assert f"{100 * (1 - psi[1] / psi[0]):.1f}" == "8.0"


def test_requirements_have_the_same_numbers_and_titles() -> None:
    assert dict(rows(r"^\| (R\d+) \| (.*?) \| (?:line|hand|both)\b.*\|$")) == REQUIREMENTS
    assert set(re.findall(r"\*\*(R\d+)\*\*", TEXT)) == set(REQUIREMENTS)


def test_error_numbers_and_texts() -> None:
    table = {int(number): text for number, text in rows(r"^\| (-\d+) \| ([^|]*?) \|")}
    assert {0: "No error"} | table == ERROR_TEXTS


def test_flags() -> None:
    table = {int(value, 16): name for value, name in rows(r"^\| [0-6] \| ([0-9A-F]{2}) \| ([^|]*?) \|")}
    assert set(table) == {flag.value for flag in Flag}
    assert table[Flag.MARK_DOWN] == "mark input down"
    assert table[Flag.OVERRUN] == "sampling overrun"
    assert table[Flag.TRANSMIT_DROP] == "transmit drop"
    assert table[Flag.REFERENCE_LOW] == "reference low"
    assert table[Flag.REFERENCE_HIGH] == "reference high"
    assert table[Flag.SATURATED] == "saturated"
    assert table[Flag.CALIBRATION_VALID] == "calibration valid"


def test_reasons() -> None:
    named = set(re.findall(r"^\| `([a-z_]+)` \|", TEXT, re.MULTILINE))
    assert named == set(BadReason) - {BadReason.OUT_OF_RANGE}


def test_rates_of_the_table_are_those_that_the_link_carries() -> None:
    for baud, rate in rows(r"^\| (\d+) \| (\d+) \|$"):
        assert int(max_rate_hz(int(baud))) == int(rate)
    assert f"The default rate is **{DEFAULT_RATE_HZ} Hz**" in TEXT
    assert f"at most **{MAX_LINE_BYTES} bytes**" in TEXT
    assert f"{SAMPLE_BYTES} bytes with its LF" in TEXT
