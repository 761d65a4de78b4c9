"""`boretight history`: how each cylinder of an engine went over its tests."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from daq.cli.output import print_json, print_table
from daq.config import Config, load
from daq.engine_sheet import KEY, find, own, read, shipped
from daq.errors import UsageError
from daq.procedure.trend import Axis, Point, Quantity, Trend
from daq.report.engine.judged import stated_limits
from daq.report.history import History, bore_m, load_history
from daq.sinks.event_json import plain
from daq.sinks.store import readable
from daq.units import MM2_PER_M2

UNITS = {Quantity.AREA_RATIO: ("area ratio k", 1.0), Quantity.LEAK_AREA: ("leak, mm2", MM2_PER_M2)}
BARS = "▁▂▃▄▅▆▇█"
MOST_BARS = 24


def history(
    engine: str, axis: str, limits: str, database: Path | None, config_path: Path | None, as_json: bool
) -> None:
    """`engine`: the name that its tests have, or the key of a profile."""
    config = load(config_path)
    source, instrument = database or config.storage.database, config.measuring_instrument()
    along, name = _axis(axis), _name(engine, config)
    with readable(source) as reader:
        limit = stated_limits(limits, bore_m(reader, name), instrument).investigate_from
        found = load_history(reader, name, along, limit, instrument.atmosphere_pa)
    if as_json:
        print_json(_json(found))
    else:
        _show(found)


def _axis(wanted: str) -> Axis:
    if wanted not in list(Axis):
        raise UsageError(f"There is no axis {wanted!r}.", f"Use one of {', '.join(Axis)}.")
    return Axis(wanted)


def _name(engine: str, config: Config) -> str:
    """A key becomes the name in its profile; everything else is a name already."""
    folder = config.storage.engines
    if not KEY.fullmatch(engine) or engine not in {*own(folder), *shipped()}:
        return engine
    return str(read(find(folder, engine), engine)["name"])


def _show(found: History) -> None:
    quantity, size = UNITS[found.quantity]
    rows = [_row(cylinder, course, size) for cylinder, course in found.courses.items()]
    columns = ["cylinder", "tests", f"newest {quantity}", "course", "trend", "since last time"]
    print_table(f"{found.engine}: tests by {found.axis.value}, {found.tests}", columns, rows)
    for cylinder, course in found.courses.items():
        print(f"Cylinder {cylinder}: {' '.join(course.sentences)}")
    if found.limit is not None:
        print(f"The limit is {quantity} {found.limit * size:.3f}.")
    if found.without_axis:
        print(f"Left out: {found.without_axis} tests that do not say their {found.axis.value}.")
    if found.unusable:
        print(f"Left out: {found.unusable} readings without a value or an uncertainty.")


def _row(cylinder: int, course: Trend, size: float) -> list[str]:
    last = course.points[-1]
    newest = f"{last.value * size:.3f} +-{1.96 * last.u * size:.3f}"
    direction, change = course.direction.value.replace("-", " "), course.change.word.value
    return [str(cylinder), str(len(course.points)), newest, bars(course.points), direction, change]


def bars(points: Sequence[Point]) -> str:
    """The newest readings as bars, the greatest as the full block, from nothing."""
    values = [point.value for point in points[-MOST_BARS:]]
    most = max(values)
    return "".join(BARS[min(int(len(BARS) * value / most), len(BARS) - 1)] if most > 0 else BARS[0] for value in values)


def _json(found: History) -> dict[str, Any]:
    """SI: seconds since 1970, seconds of running or metres along the axis; area ratio, or leak area in m2."""
    document: dict[str, Any] = plain(found)
    return {"schema_version": 1, **document}
