"""The report of a test: the same figures in every form, text as text, and every shape of engine and test."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from daq.errors import UsageError
from daq.procedure.cautions import before_air
from daq.procedure.verdict import Verdict
from daq.records import Place, Strength
from daq.report.engine import wording as words
from daq.report.engine.bench_sections import age
from daq.report.engine.document import Document, Mark
from daq.report.engine.drawing import seal
from daq.report.engine.figures import as_csv, as_json
from daq.report.engine.html import html
from daq.report.engine.page import chance, chart, document, headline
from daq.report.engine.pdf import pdf, png
from daq.report.traces import traces
from daq.sinks.store import open_readonly
from daq.units import PressureUnit
from tests.unit.procedure.judged import PSI, UNPAIRED
from tests.unit.report.engine_scenes import FOUR, Scene, shapes, sound_four

HOSTILE = '<script>alert("x")</script> & \'"> #let x = 1 $y$ *z* @here'


def document_of(scene: Scene, unit: PressureUnit = PressureUnit.PSI, limits: str = "common") -> Document:
    database = open_readonly(scene.path)
    try:
        return document(scene.judged(limits), traces(database, scene.record()), unit)
    finally:
        database.close()


def page_of(scene: Scene, **how: object) -> str:
    return html(document_of(scene, **how))  # type: ignore[arg-type]


class Words(HTMLParser):
    """The tags and the text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attributes)))

    def handle_data(self, data: str) -> None:
        self.said.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.said).split())


def text_of_pdf(content: bytes) -> str:
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_the_figures_are_those_of_the_database(tmp_path: Path) -> None:
    scene = sound_four(tmp_path).write()
    stored = {row["cylinder"]: row for row in scene.rows("SELECT * FROM cylinder_result")}
    expanded = {row["cylinder"]: row for row in scene.rows("SELECT * FROM stable_reading WHERE phase = 'as-found'")}
    rows = {row["cylinder"]: row for row in as_json(scene.judged())["cylinders"]}
    shown = Words(page_of(scene)).text
    assert rows.keys() == stored.keys() == {1, 2, 3, 4}
    for number, row in stored.items():
        loss, u = row["as_found_loss_at_set_pct"], expanded[number]["expanded_u_loss_pct"]
        assert rows[number]["as_found_loss_at_set_pct"] == loss
        assert rows[number]["after_tap_loss_at_set_pct"] == row["after_tap_loss_at_set_pct"]
        assert rows[number]["as_found_expanded_u_loss_pct"] == pytest.approx(u, rel=1e-3)
        assert f"{loss:.2f} ±{u:.2f}" in shown
    assert "6.20 ±" in shown and "19.0 → 6.2 ±" in shown


def test_every_form_says_the_same(tmp_path: Path) -> None:
    scene = sound_four(tmp_path).write()
    test, made = scene.judged(), document_of(scene)
    assert test.judgement is not None
    page, paper = Words(html(made)).text, text_of_pdf(pdf(made))
    for said in (test.judgement.advice, *test.judgement.notes, test.record.name, *test.record.profile.cannot_judge):
        assert said in page and said in paper
    for section in made.sections:
        assert section.title in page and section.title in paper
    assert as_json(test)["advice"] == test.judgement.advice


def test_a_page_needs_nothing_and_runs_nothing(tmp_path: Path) -> None:
    page = page_of(sound_four(tmp_path).write())
    tags = Words(page).tags
    assert not {"script", "link", "iframe", "img", "object", "form"} & {tag for tag, _ in tags}
    assert not any(name.startswith("on") or name in ("src", "href") for _, attributes in tags for name in attributes)
    assert "url(" not in page and "@import" not in page
    assert re.findall(r"https?://[^\"]*", page) == ["http://www.w3.org/2000/svg"] * page.count("<svg")


def test_names_are_text_whatever_they_contain(tmp_path: Path) -> None:
    scene = Scene(
        tmp_path, {**FOUR, "name": HOSTILE[:80], "notes": HOSTILE}, {"note": HOSTILE, "by": HOSTILE}, HOSTILE[:60]
    )
    scene = replace(scene, acknowledged=HOSTILE, events=[])
    scene.cylinder(1, 20.0)
    scene.heard(1, 1, Place.EXHAUST, Strength.CLEAR, HOSTILE)
    scene.cylinder(3, 40.0)
    scene.withdraw(3, 1, HOSTILE)
    made = document_of(scene.write())
    page = html(made)
    assert page.count("<script") == 0 and Words(page).text.count(HOSTILE) >= 5
    paper = text_of_pdf(pdf(made)).replace("’", "'")
    assert "#let x = 1 $y$ *z* @here" in paper and "<script>alert" in paper


def test_reports_of_every_shape_can_be_made(tmp_path: Path) -> None:
    for scene in shapes(tmp_path):
        scene.folder.mkdir()
        test, made = scene.write().judged(), document_of(scene)
        profile = test.record.profile
        text = Words(html(made)).text
        assert profile.name in text and all(f"Cylinder {number} " in text for number in profile.firing_order)
        assert profile.name in text_of_pdf(pdf(made, "letter"))
        assert png(chart(test), *headline(test)).startswith(b"\x89PNG")
        rows = list(csv.DictReader(io.StringIO(as_csv(test))))
        assert [int(row["cylinder"]) for row in rows] == sorted(profile.firing_order)
        json.dumps(as_json(test), allow_nan=False)


def test_a_test_with_nothing_in_it_says_so(tmp_path: Path) -> None:
    scene = Scene(tmp_path, acknowledged="").write()
    text = Words(page_of(scene)).text
    for said in (words.EMPTY_ADVICE, words.STILL_OPEN, words.NOT_ACKNOWLEDGED, words.NO_TRACES):
        assert said in text
    assert as_json(scene.judged())["verdict"] is None


def test_half_a_test_says_what_is_missing_and_that_it_was_cold(tmp_path: Path) -> None:
    scene = Scene(tmp_path, acknowledged="")
    scene.cylinder(1, 7.0)
    scene.end(complete=False, skipped=(4,))
    text = Words(page_of(scene.write())).text
    assert "4 skipped" in text and "3 not tested" in text and "Not all cylinders tested" in text
    assert "2, 3 and 4 not tested" in text


def test_attempts_that_were_taken_back_are_listed_and_not_counted(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 33.0)
    scene.withdraw(1, 1, "the hose was loose")
    scene.cylinder(1, 5.0, attempt=2)
    scene.broken_off(3, 41.0, 1)
    test = scene.write().judged()
    text = Words(page_of(scene)).text
    assert "Cylinder 1, attempt 1: 33.00 %. Does not count: the hose was loose." in text
    assert "Cylinder 3, attempt 1: 41.00 %, broken off" in text
    assert as_json(test)["cylinders"][0]["as_found_loss_at_set_pct"] == pytest.approx(5.0)
    assert [each["counts"] for each in as_json(test)["attempts"]] == [False, True]
    assert test.judgement_of(1).judgement.verdict is Verdict.SOUND  # type: ignore[union-attr]


def test_where_the_air_goes_has_reasons_and_the_next_check(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    for number, loss in ((1, 5.0), (3, 40.0), (4, 6.0), (2, 5.0)):
        scene.cylinder(number, loss)
    scene.heard(1, 3, Place.EXHAUST, Strength.CLEAR)
    scene.end()
    text = Words(page_of(scene.write())).text
    assert "Cylinder 3: Most likely the exhaust valve does not seal." in text
    assert "For the exhaust valve does not seal: Clearly air at the exhaust" in text
    assert "Next: Check the clearance of the exhaust valve" in text
    assert "Cylinder 3: clearly air at the exhaust" in text


def test_cautions_stand_there_with_who_acknowledged_them(tmp_path: Path) -> None:
    scene = Scene(tmp_path, {**FOUR, "certified": True})
    scene.cylinder(1, 5.0)
    text = Words(page_of(scene.write())).text
    assert all(caution.text in text for caution in before_air(certified=True))
    assert words.ACKNOWLEDGED.format(who="kim") in text and words.NOT_ACKNOWLEDGED not in text


def test_what_it_was_read_with_says_age_and_what_was_not_done(tmp_path: Path) -> None:
    paired, unpaired = tmp_path / "a", tmp_path / "b"
    text = Words(page_of(_one(paired))).text
    assert "Pairing paired, on 1970-01-01" in text and "56 years before the test" in text
    text = Words(page_of(_one(unpaired, calibration=UNPAIRED))).text
    assert words.NOT_PAIRED in text and words.WITHOUT_PAIRING in text


def test_an_age_is_in_the_greatest_unit_that_there_are_two_of() -> None:
    assert [age(s) for s in (90.0, 7199.0, 7200.0, 172_800.0, 63_115_200.0)] == [
        "1 minutes", "119 minutes", "2 hours", "2 days", "2 years",
    ]  # fmt: skip


def _one(folder: Path, **more: object) -> Scene:
    folder.mkdir()
    scene = Scene(folder, **more)  # type: ignore[arg-type]
    scene.cylinder(1, 5.0)
    return scene.write()


@pytest.mark.parametrize(("unit", "shown"), [(PressureUnit.PSI, "100.0 psi"), (PressureUnit.KPA, "689 kPa")])
def test_pressures_are_in_the_unit_asked_for(tmp_path: Path, unit: PressureUnit, shown: str) -> None:
    page = page_of(sound_four(tmp_path).write(), unit=unit)
    text = Words(page).text
    assert f"at {shown}" in text and f"{shown}, within" in text and f">{unit.value}</text>" in page
    assert "1.016 mm (0.040 in)" in text and "86 mm (3.386 in)" in text


def test_figures_that_compare_are_metric_or_of_the_inch(tmp_path: Path) -> None:
    scene = sound_four(tmp_path).write()
    reading = scene.judged().counting[1].as_found
    inch, metric = (Words(page_of(scene, unit=unit)).text for unit in (PressureUnit.PSI, PressureUnit.BAR))
    hole_m, flow_m3_s = reading.leak_diameter_m, reading.flow_anr_m3_s
    assert "Hole of, in" in inch and f" {hole_m / 0.0254:.3f} " in inch and f" {flow_m3_s * 2118.88:.3f} " in inch
    assert "Hole of, mm" in metric and f" {hole_m * 1e3:.2f} " in metric and f" {flow_m3_s * 60e3:.2f} " in metric


def test_a_bench_that_is_not_what_the_profile_asks_for_is_told(tmp_path: Path) -> None:
    scene = Scene(tmp_path, {**FOUR, "set_point": "80 psi"})
    scene.cylinder(1, 5.0)
    assert "The profile asks for 80.0 psi" in Words(page_of(scene.write())).text


def test_a_cylinder_read_at_another_supply_is_converted_and_says_so(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 5.0)
    done = scene.cylinder(3, 20.0, supply_pa=80 * PSI)
    row = as_json(scene.write().judged())["cylinders"][2]
    expected = 20.0 * (1 + 14.696 / 100) / (1 + 14.696 / 80)  # the loss carried, p.s.i. and one atmosphere
    assert row["as_found_loss_at_set_pct"] == pytest.approx(expected, rel=1e-4)
    assert row["as_found_expanded_u_loss_pct"] == pytest.approx(done.as_found.expanded_u_loss_pct * expected / 20)
    text = Words(page_of(scene)).text
    assert f"{expected:.2f} ±" in text and "Cylinder 3 was read at another supply" in text


def test_limits_are_chosen_and_carried(tmp_path: Path) -> None:
    scene = sound_four(tmp_path).write()
    common, published, own = (scene.judged(limits) for limits in ("common", "ac43", "5.2,5.3"))
    assert common.limits.sound_to.loss_pct == pytest.approx(10.0, abs=1e-3)
    assert published.stated.sound_to.loss_pct == 25.0 != published.limits.sound_to.loss_pct
    assert [own.limits.sound_to.loss_pct, own.limits.investigate_from.loss_pct] == pytest.approx([5.2, 5.3], abs=1e-3)
    assert own.judgement.facts.verdict.value == "investigate"  # type: ignore[union-attr]
    assert (
        "25.0 % at 80.0 psi behind 1.016 mm (0.040 in) (FAA AC 43.13-1B, 8-14)"
        in Words(page_of(scene, limits="ac43")).text
    )
    with pytest.raises(UsageError, match="no limits 'mine'"):
        scene.judged("mine")


def test_marks_differ_in_shape_not_in_colour_alone() -> None:
    shapes_of = {mark: re.sub(r"#[0-9a-f]{6}|aria-label=\"[^\"]*\"", "", seal(mark, 14)) for mark in Mark}
    assert len(set(shapes_of.values())) == len(Mark)


def test_every_drawing_is_well_formed_and_lies_inside(tmp_path: Path) -> None:
    scene = sound_four(tmp_path).write()
    made = document_of(scene)
    page = html(made)
    for drawing in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        root = ElementTree.fromstring(drawing)
        _, _, width, height = map(float, root.attrib["viewBox"].split())
        for element in root.iter():
            for name, most in (
                ("x1", width),
                ("x2", width),
                ("cx", width),
                ("y1", height),
                ("y2", height),
                ("cy", height),
            ):
                assert 0 <= float(element.attrib.get(name, 0)) <= most, element.attrib


def test_the_chart_stands_losses_where_they_are(tmp_path: Path) -> None:
    """The ring of cylinder 2 as found lies as far between 0 and the last graduation as its loss does."""
    root = ElementTree.fromstring(chart(sound_four(tmp_path).write().judged()).svg)
    space = "{http://www.w3.org/2000/svg}"
    at = {each.text: float(each.attrib["x"]) for each in root.iter(f"{space}text")}
    rings = [float(each.attrib["cx"]) for each in root.iter(f"{space}circle") if each.attrib["r"] == "3.6"]
    expected = [at["0"] + (at["10"] - at["0"]) * loss / 10 for loss in (5.0, 19.0, 6.0, 5.5)]
    assert rings[:4] == pytest.approx(expected, abs=0.2)


def test_a_number_is_not_torn_from_its_percent_sign(tmp_path: Path) -> None:
    page = page_of(sound_four(tmp_path).write())
    assert "more than 99\u00a0% sure" in page and "5.00\u00a0±" in page


def test_a_chance_is_never_rounded_up() -> None:
    assert [chance(p) for p in (0.99995, 0.9989, 0.5)] == ["> 99.9 %", "99.8 %", "50.0 %"]


def test_a_picture_says_whose_it_is(tmp_path: Path) -> None:
    """What it says changes the picture, whatever it is made of."""
    test = sound_four(tmp_path).write().judged()
    assert headline(test) == ("invented four", "test spring, 2026-01-01")
    pictures = {png(chart(test), title, "") for title in ("one", "two", "#one", "*one*")}
    assert len(pictures) == 4


def test_the_same_test_gives_the_same_pdf(tmp_path: Path) -> None:
    made = document_of(sound_four(tmp_path).write())
    assert pdf(made) == pdf(made)


def test_paper_has_the_size_asked_for(tmp_path: Path) -> None:
    made = document_of(sound_four(tmp_path).write())
    sizes = [PdfReader(io.BytesIO(pdf(made, paper))).pages[0].mediabox[2:] for paper in ("a4", "letter")]
    assert [[round(float(side)) for side in size] for size in sizes] == [[595, 842], [612, 792]]
