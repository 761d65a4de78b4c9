"""What a browser gets: small, whole, with nothing that runs inside the markup, and a library that is what it says."""

from __future__ import annotations

import hashlib
import re
import stat
from pathlib import Path

import pytest

from daq.config import Config, StorageSection
from daq.errors import StorageError, UsageError
from daq.procedure.verdict import COMMON_PRACTICE
from daq.report.page import books
from daq.sinks.page.assets import assets
from daq.sinks.page.documents import Books, Document
from daq.sinks.page.settings import TOKEN, PageSettings, kept_token, link, own_address
from daq.sinks.page.shell import policy_of, shell
from tests.suites.deliveries import CALIBRATION
from tests.unit.page.pages import DESCRIPTION, INSTRUMENT, NASTY
from tests.unit.report.engine_scenes import Scene

VENDORED = {
    "uplot.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    "uplot.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
    "uplot.licence.txt": "8f989229699b4fe2f1a0432d0e9edc338a8a911e250e2d1b01ecd770a5f5b1bd",
}
MOST_BYTES = 150_000


def text(name: str) -> str:
    return assets()[name].content.decode()


def test_all_of_it_is_small() -> None:
    assert sum(len(asset.pressed) for asset in assets().values()) < MOST_BYTES


@pytest.mark.parametrize("name", VENDORED)
def test_the_library_is_the_one_that_was_published(name: str) -> None:
    """uPlot 1.6.32, as its package has it."""
    assert hashlib.sha256(assets()[name].content).hexdigest() == VENDORED[name]


def test_the_library_brings_its_licence() -> None:
    assert "The MIT License" in text("uplot.licence.txt")


def test_nothing_runs_or_is_styled_inside_the_markup() -> None:
    markup = text("live.html") + shell(Document("x", "<p></p>"), "garage", "tests")
    assert not re.search(r"<script(?![^>]*\ssrc=)|<style|\son\w+=|\sstyle=|javascript:", markup)


@pytest.mark.parametrize("name", ["live.html", "page.css", *(name for name in assets() if name.endswith(".js"))])
def test_nothing_comes_from_elsewhere(name: str) -> None:
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg|github\.com/leeoniya/uPlot)", text(name))


@pytest.mark.parametrize("name", [name for name in assets() if name.endswith(".js") and name != "uplot.js"])
def test_our_own_scripts_make_no_markup_of_text(name: str) -> None:
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\(|new Function", text(name))


def test_every_file_that_is_named_is_there() -> None:
    named = set(re.findall(r"/assets/([\w.]+)", text("live.html")))
    for name in assets():
        if name.endswith(".js"):
            named |= set(re.findall(r'from "\./([\w.]+)"', text(name)))
    assert named <= set(assets()) and len(named) > 8


# ---- the token and the link


def test_the_token_is_made_once_and_is_the_users_alone(tmp_path: Path) -> None:
    path = tmp_path / "new" / "page-token"
    token = kept_token(path)
    assert TOKEN.fullmatch(token) and kept_token(path) == token
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert kept_token(tmp_path / "other") != token


@pytest.mark.parametrize("content", ["", "short", "x" * 500, "ä" * 30, "with blanks in it, long"])
def test_what_is_no_token_is_replaced(tmp_path: Path, content: str) -> None:
    path = tmp_path / "page-token"
    path.write_text(content, encoding="utf-8")
    assert TOKEN.fullmatch(kept_token(path)) and kept_token(path) != content


def test_a_token_that_cannot_be_kept_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(StorageError, match="token of the page"):
        kept_token(tmp_path / "file" / "page-token")


def test_the_link_is_for_this_computer_unless_the_network_was_asked_for() -> None:
    here, there = PageSettings("garage", "t" * 22), PageSettings("garage", "t" * 22, lan=True)
    assert (here.listens_on, there.listens_on) == ("127.0.0.1", "0.0.0.0")
    assert link(here, 8034) == f"http://127.0.0.1:8034/open?token={'t' * 22}"
    assert link(there, 8034) == f"http://{own_address()}:8034/open?token={'t' * 22}"


# ---- pages of stored things


def test_a_style_is_allowed_by_its_hash() -> None:
    digest = "L6ThmhxUWrh8TUAaOa3HLR2BZmMPblrTQsFdUdS3Kqs="
    assert policy_of("<style>p { color: red; }</style>").count("sha256-") == 1
    assert "'none'; img-src" in policy_of("<p>no style</p>")
    assert digest not in policy_of("<style>p { color: blue; }</style>")


@pytest.fixture
def shelf(tmp_path: Path) -> Books:
    """A bench that has tested one engine."""
    config = Config(bench="garage", storage=StorageSection(folder=tmp_path))
    scene = Scene(tmp_path)
    for number, loss_pct in ((1, 5.0), (3, 6.0), (4, 22.0), (2, 5.5)):
        scene.cylinder(number, loss_pct, loss_pct)
    scene.end()
    scene.write().path.rename(config.storage.database)
    return books(config, DESCRIPTION)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("tests", "spring"),
        ("tests/spring", "invented four"),
        ("engines", "inline-four"),
        ("history/invented four", "Cylinder"),
        ("calibration", "cal-1"),
        ("calibration/certificate", "Calibration of bench garage"),
    ],
)
def test_each_place_has_its_page(shelf: Books, path: str, words: str) -> None:
    document = shelf.page(path)
    assert document is not None and words in document.body


def test_the_report_is_the_same_as_the_command_makes(shelf: Books, tmp_path: Path) -> None:
    from daq.cli.report import Asked, Wanted, report

    report(Asked("spring", tmp_path / "boretight.db"), Wanted(html=tmp_path / "report.html"), "a4")
    document = shelf.page("tests/spring")
    assert document is not None and document.body == (tmp_path / "report.html").read_text(encoding="utf-8")


def test_the_report_is_there_as_pdf(shelf: Books) -> None:
    document = shelf.page("tests/spring/report.pdf")
    assert document is not None and document.data.startswith(b"%PDF") and document.media_type == "application/pdf"


@pytest.mark.parametrize("path", ["", "nowhere", "history", "engines/x", "calibration/x", "../etc/passwd"])
def test_other_places_have_none(shelf: Books, path: str) -> None:
    assert shelf.page(path) is None


@pytest.mark.parametrize("path", ["tests/none", f"tests/{NASTY}", f"history/{NASTY}"])
def test_what_is_not_stored_is_told_as_that(shelf: Books, path: str) -> None:
    with pytest.raises(UsageError):
        shelf.page(path)


def test_a_test_can_be_started_with_what_there_is(shelf: Books) -> None:
    found = shelf.choices()
    assert found["engines"][0]["key"] == "" and {"v8", "single"} <= {each["key"] for each in found["engines"]}
    assert len(found["cautions"]["certified"]) == len(found["cautions"]["any"]) + 1


def test_the_limits_are_as_this_instrument_reads_them() -> None:
    limits = COMMON_PRACTICE.carried(INSTRUMENT, CALIBRATION)
    assert limits.sound_to.loss_pct > 10.0  # stated at 100 psi, read at 80 psi: the same leak loses more
    assert limits.sound_to.set_point_pa == INSTRUMENT.set_point_pa
