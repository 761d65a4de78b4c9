from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser

import pytest

from daq.calibration_files import AnyRecord, Shelf, compose
from daq.measure.calibration import assumed_calibration
from daq.records import Calibration, Contribution
from daq.report.budget_table import Combined, budget_rows, combine
from daq.report.certificate import Bench, certificate, typical_budget
from daq.units import PressureUnit
from tests.unit.calibrate.records_of import INSTRUMENT, pairing, restrictor, transducers

NOW = datetime(2026, 3, 5, 12, tzinfo=UTC)
PSI = 6894.757293168361
BENCH = Bench("garage", INSTRUMENT, PressureUnit.PSI, NOW, "boretight 1.2")


def shelf() -> tuple[Calibration, list[AnyRecord]]:
    sheets = assumed_calibration()
    lines = transducers(sheets).model_copy(update={"id": "aaa111"})
    calibrated, _ = compose(Shelf((lines,)), sheets)
    paired = pairing(calibrated).model_copy(update={"id": "bbb222", "previous": "b0"})
    records = [lines, paired, restrictor().model_copy(update={"id": "ccc333"})]
    return compose(Shelf(tuple(records)), sheets)[0], records


class Checked(HTMLParser):
    """Every element that is opened is closed again, in order; remembers the attributes that were met."""

    VOID = ("meta", "circle", "line", "polyline")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.met: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.met.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def page() -> str:
    return certificate(BENCH, *shelf())


def test_it_is_one_sound_page_that_needs_nothing_else(page: str) -> None:
    seen = Checked(page)
    assert seen.open == [] and page.startswith("<!DOCTYPE html>")
    assert not {"script", "img", "link", "iframe"} & set(seen.met)
    assert not {name for name, _ in seen.attributes} & {"src", "href", "onload"}
    assert "url(" not in page and "@import" not in page and "http" not in page


def test_it_has_a_plot_for_each_channel_the_pairing_and_the_jets(page: str) -> None:
    assert page.count("<svg") == 4
    for title in (
        "Supply: indicated - reference",
        "Cylinder: indicated - reference",
        "cylinder - supply",
        "flow / choked",
    ):
        assert title in page


def test_it_says_who_when_with_what_and_when_again(page: str) -> None:
    for words in (
        "Record aaa111, made 2026-03-01 10:00 UTC by the owner, board board 7, air at 21 °C; due again 2027-03-01",
        "Reference: gauge 3, 0 to 200 psi, u = 0.100 psi",
        "Record bbb222, made 2026-03-02",
        "±0.17 points with it, ±1.14 without",
        " mm²",
        "boretight 1.2",
    ):
        assert words in page, words


def test_what_is_overdue_stands_out() -> None:
    late = replace(BENCH, now=NOW + timedelta(days=400))
    page = certificate(late, *shelf())
    assert '<span class="warn">overdue since 2027-03-01</span>' in page
    assert "overdue" not in certificate(BENCH, *shelf())


def test_what_people_write_cannot_break_the_page() -> None:
    calibration, records = shelf()
    made = records[0].made.model_copy(update={"by": "<b>me</b> & you", "note": '"><script>'})
    page = certificate(BENCH, calibration, [records[0].model_copy(update={"made": made})])
    assert Checked(page).open == [] and "&lt;b&gt;me&lt;/b&gt; &amp; you" in page and "<script" not in page


def test_without_records_the_data_sheets_are_what_there_is() -> None:
    page = certificate(BENCH, assumed_calibration(), [])
    assert Checked(page).open == [] and "Nothing has been calibrated" in page
    assert "supply class" in page and "1.11 points (95 %)" in page


def test_it_shows_the_unit_of_the_bench() -> None:
    page = certificate(replace(BENCH, unit=PressureUnit.BAR), *shelf())
    assert "reference pressure [bar]" in page and " psi" not in page.replace("0 to 200 psi", "")


def test_the_budget_ages_with_the_pairing() -> None:
    calibration, _ = shelf()
    now, later = (combine(typical_budget(replace(BENCH, now=NOW + timedelta(days=d)), calibration)) for d in (0, 30))
    assert later.expanded > 1.5 * now.expanded


# ---- the table of a budget


def line(component: str, u: float, unit: str, sensitivity: float, degrees: float = math.inf) -> Contribution:
    return Contribution(component, u, unit, sensitivity, degrees)


def test_rows_go_from_the_greatest_to_what_does_not_count() -> None:
    rows = budget_rows(
        [
            line("barometer", 500, "Pa", 0.0),
            line("small", 0.3 * PSI, "Pa", 1 / PSI),
            line("great", 0.002, "1", -200, 9),
        ],
        PressureUnit.PSI,
    )
    assert rows == [
        ["great", "0.2 %", "-2 / %", "0.400", "64 %", "9"],
        ["small", "0.3 psi", "+1 / psi", "0.300", "36 %", "many"],
        ["barometer", "0.0725 psi", "none", "0.000", "0 %", "many"],
    ]


def test_lines_add_as_squares_and_widen_with_few_degrees() -> None:
    """Ref: JCGM 100, G.4.1 with table G.2: 4 degrees of freedom, t = 2.776 at 95 %."""
    found = combine([line("a", 0.3, "1", 1.0, 4), line("b", 1e-9, "1", 1.0)])
    assert found.standard == pytest.approx(0.3) and found.factor == pytest.approx(2.776, abs=1e-3)
    assert found.expanded == pytest.approx(0.3 * 2.776, abs=1e-3)
    both = combine([line("a", 0.3, "1", 1.0), line("b", 0.4, "1", -1.0)])
    assert (both.standard, both.factor) == pytest.approx((0.5, 1.96), abs=1e-4)


def test_the_sentence_says_all_four_numbers() -> None:
    sentence = Combined(0.0811, 26.3, 2.056).sentence()
    assert re.findall(r"[\d.]+", sentence.replace("95 %", "")) == ["0.081", "26", "2.06", "0.17"]
