"""The same document as a PDF, and its chart as a picture, set by Typst: one wheel, no libraries of the system.

The texts travel to the setting as JSON and are placed as strings, so none of them is ever read as markup.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from enum import StrEnum
from importlib.resources import files
from typing import Any

from daq.report.engine.document import Chart, Document, Table, unbroken
from daq.report.engine.drawing import scale, seal

PAPERS = {"a4": "a4", "letter": "us-letter"}
PICTURE = b"""
#set page(width: auto, height: auto, margin: 10pt)
#set text(font: ("Liberation Sans", "Arial", "Helvetica Neue", "DejaVu Sans", "Libertinus Serif"), 10pt)
#block(width: 170mm)[*#sys.inputs.title* #h(1fr) #sys.inputs.below]
#image(bytes(sys.inputs.svg), width: 170mm)
"""
PIXELS_PER_INCH = 200.0


def pdf(document: Document, paper: str = "a4") -> bytes:
    """`paper`: a key of `PAPERS`. It carries no date but those in its text: the same document gives the same bytes."""
    import typst

    content = {**_plain(document), "scale": scale(), "paper": PAPERS[paper]}
    template = files("daq.report.engine").joinpath("report.typ").read_bytes()
    made: bytes = typst.compile(template, sys_inputs={"document": json.dumps(content)})
    return made


def png(chart: Chart, title: str, below: str) -> bytes:
    """The chart with the words that it needs when it stands alone."""
    import typst

    inputs = {"svg": chart.svg, "title": title, "below": below}
    made: bytes = typst.compile(PICTURE, sys_inputs=inputs, format="png", ppi=PIXELS_PER_INCH)
    return made


def _plain(value: Any) -> Any:
    """Blocks as objects that name their kind; a mark becomes its drawing."""
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, str):
        return value if value.startswith("<svg") else unbroken(value)
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    if not is_dataclass(value) or isinstance(value, type):
        return value
    found = {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
    found["block"] = type(value).__name__
    if getattr(value, "mark", None) is not None:
        found["seal"] = seal(value.mark, 14)  # type: ignore[attr-defined]
    if isinstance(value, Table):
        found["numbers"] = [value.of_numbers(column) for column in range(len(value.columns))]
    return found
