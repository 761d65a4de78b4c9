"""How each cylinder of an engine went over its tests: the words of `boretight history`, as a page."""

from __future__ import annotations

from pathlib import Path

from daq.procedure.trend import Axis, Quantity, Trend
from daq.records import Instrument
from daq.report.engine.judged import COMMON, stated_limits
from daq.report.history import bore_m, load_history
from daq.report.page.markup import paragraph, table
from daq.sinks.page.documents import Document
from daq.sinks.store import readable
from daq.units import MM2_PER_M2

SHOWN = {Quantity.AREA_RATIO: ("area ratio k", 1.0), Quantity.LEAK_AREA: ("leak, mm2", MM2_PER_M2)}


def history_page(path: Path, engine: str, instrument: Instrument) -> Document:
    """By date. UsageError for an engine without results."""
    with readable(path) as database:
        limit = stated_limits(COMMON, bore_m(database, engine), instrument).investigate_from
        found = load_history(database, engine, Axis.DATE, limit, instrument.atmosphere_pa)
    quantity, size = SHOWN[found.quantity]
    rows = [_row(cylinder, course, size) for cylinder, course in found.courses.items()]
    columns = ("Cylinder", "Tests", f"Newest {quantity}", "Course", "Since last time", "In words")
    left = f"Left out: {found.unusable} readings without a value or an uncertainty." if found.unusable else ""
    limit_words = f"The limit is {quantity} {found.limit * size:.3f}." if found.limit is not None else ""
    body = table(f"Cylinders of {engine} over its tests", columns, rows) + paragraph(limit_words, left)
    return Document(f"History of {found.engine}", body)


def _row(cylinder: int, course: Trend, size: float) -> tuple[str, ...]:
    last = course.points[-1]
    newest = f"{last.value * size:.3f} ± {1.96 * last.u * size:.3f}"
    words = " ".join(course.sentences)
    direction, change = course.direction.value.replace("-", " "), course.change.word.value
    return str(cylinder), str(len(course.points)), newest, direction, change, words
