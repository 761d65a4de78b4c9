"""The report of a check says all that was found, in each of its forms, and nothing that it shows can break it."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime

import pytest

from daq.report.board_check import Made, as_data, as_page, as_text, conclusion
from daq.sources.conformance_report import REQUIREMENTS, ConformanceReport, Notes

MADE = Made("/dev/ttyUSB0", 115_200, 60.0, "boretight 0.1.0", datetime(2026, 3, 4, 5, 6, tzinfo=UTC))


@pytest.fixture
def report() -> ConformanceReport:
    notes = Notes()
    for requirement in REQUIREMENTS:
        if requirement not in ("R13", "R31"):
            notes.expect(requirement, requirement != "R2", f"<seen of {requirement}>")
    notes.measure("clock", "+12 ppm <& so on>")
    return notes.report("Invented <Instruments>,Bench Board,0042,1.0.3")


def test_the_conclusion_counts(report: ConformanceReport) -> None:
    assert conclusion(report) == "The board does not conform: 31 requirements kept, 1 broken, 2 not checked."


def test_the_page_says_all_and_is_escaped(report: ConformanceReport) -> None:
    page = as_page(report, MADE)
    assert "Invented &lt;Instruments&gt;,Bench Board" in page and "<Instruments>" not in page
    assert re.findall(r'<th scope="row">(R\d+)</th>', page) == list(REQUIREMENTS)
    assert page.count("<seen") == 0 and page.count("&lt;seen of R") == 32
    assert "nobody pressed" in page and "+12 ppm &lt;&amp; so on&gt;" in page
    assert "2026-03-04 05:06 UTC" in page and "115200 bit/s" in page
    assert page.count('class="word fails"') == 1


def test_the_text_says_the_same_within_its_width(report: ConformanceReport) -> None:
    text = as_text(report, MADE)
    assert re.findall(r"^(R\d+) +(CONFORMS|FAILS|NOT CHECKED)", text, re.MULTILINE)[1] == ("R2", "FAILS")
    assert len(re.findall(r"^R\d+ ", text, re.MULTILINE)) == len(REQUIREMENTS)
    assert max(map(len, text.splitlines())) <= 100


def test_the_data_are_json(report: ConformanceReport) -> None:
    data = json.loads(json.dumps(as_data(report, MADE)))
    assert (data["conforms"], data["url"], data["protocol"]) == (False, "/dev/ttyUSB0", 1)
    assert data["utc"] == "2026-03-04T05:06:00+00:00"
    assert [finding["requirement"] for finding in data["findings"]] == list(REQUIREMENTS)
