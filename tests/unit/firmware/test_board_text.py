"""board.md: what is computed in it is what the code gives, and its drawings are those that are drawn."""

from __future__ import annotations

import importlib.util
import re
import sys
from functools import cache
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest

from daq.measure.leakage import PUBLISHED_RESTRICTOR
from daq.measure.orifice import circle_area
from daq.units import M_PER_INCH

SPEC = Path(__file__).parents[3] / "firmware_spec"
TEXT = (SPEC / "board.md").read_text(encoding="utf-8")
WORDS = " ".join(TEXT.split())


@cache
def script(path: str) -> ModuleType:
    """A script beside the text, as a module."""
    spec = importlib.util.spec_from_file_location(Path(path).stem, SPEC / path)
    assert spec is not None and spec.loader is not None
    module = sys.modules[spec.name] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_tables_are_as_computed() -> None:
    figures = script("figures.py")
    assert figures.written(TEXT) == TEXT, "next: python firmware_spec/figures.py, and review the difference"
    assert {name for _, name, _ in figures.BLOCK.findall(TEXT)} == set(figures.TABLES)


@pytest.mark.parametrize("phrase", list(script("figures.py").phrases()))
def test_figures_in_sentences_are_as_computed(phrase: str) -> None:
    assert phrase in WORDS


def test_a_figure_that_changes_is_seen() -> None:
    """The test above would not pass by itself: another restrictor gives other words."""
    figures = script("figures.py")
    assert figures.narrowed_loss_pct(1.0) == pytest.approx(10.0, abs=1e-6)
    assert figures.narrowed_loss_pct(0.9) > figures.narrowed_loss_pct(0.95) + 1
    assert figures.written(TEXT.replace("0.1831 psi", "0.1832 psi")) == TEXT


def test_the_published_restrictor_is_that_of_the_code() -> None:
    (size,) = re.findall(r"^\| below 5\.00 in \| (\S+) in \((\S+) mm\)", TEXT, re.MULTILINE)
    assert float(size[0]) * 25.4 == pytest.approx(float(size[1]))
    assert PUBLISHED_RESTRICTOR.effective_area_m2 == pytest.approx(0.8 * circle_area(float(size[0]) * M_PER_INCH))


@pytest.mark.parametrize("name", sorted(script("drawings/draw.py").DRAWINGS))
def test_drawings_are_as_drawn_and_shown(name: str) -> None:
    drawn = script("drawings/draw.py").DRAWINGS[name]()
    assert (SPEC / "drawings" / f"{name}.svg").read_text(encoding="utf-8") == drawn
    assert f"](drawings/{name}.svg)" in TEXT
    root = ElementTree.fromstring(drawn)
    title, description = (root.find(f"{{http://www.w3.org/2000/svg}}{tag}") for tag in ("title", "desc"))
    assert title is not None and title.text and description is not None and description.text


def test_pins_and_parts_of_the_drawings_are_those_of_the_firmware() -> None:
    """Where the firmware says which pin is what, the drawings say the same."""
    readme = " ".join((SPEC / "reference" / "README.md").read_text(encoding="utf-8").split())
    assert "PC0 supply, PC1 cylinder" in readme and "data PC4, clock PC5" in readme
    assert "PD0 and PD1 are the serial line, PD2 the mark button to ground, PB5 the status light" in readme
    own, i2c = ((SPEC / "drawings" / f"{name}.svg").read_text(encoding="utf-8") for name in ("own", "i2c"))
    for drawing, pins in ((own, ("PC0", "PC1")), (i2c, ("PC4", "PC5"))):
        for pin in (*pins, "PD2", "PB5", "PD1 TX", "PD0 RX"):
            assert f">{pin}<" in drawing
    assert own.count("1 k, 1 %") == 2 and i2c.count("10 k, 0.1 %") == i2c.count(">18 k<") == 3


def test_what_is_flashed_is_what_is_built() -> None:
    makefile = (SPEC / "reference" / "Makefile").read_text(encoding="utf-8")
    readme = (SPEC / "reference" / "README.md").read_text(encoding="utf-8")
    calls = re.findall(r"^avrdude .*$", TEXT, re.MULTILINE)
    assert len(calls) == 2 and all("flash:w:build/own.hex" in call for call in calls)
    assert "CONVERTERS := own i2c" in makefile
    assert calls[0] in readme, "both texts give the same fuses"
