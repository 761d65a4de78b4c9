"""The history of an engine: the course of each of its cylinders over all stored tests, in a quantity that compares.

That is the area ratio k where one restrictor served all the time, else the area of the leak. What counts of a test is
the newest reading of each cylinder that was not taken back: after taps, if there were any.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from daq.errors import UsageError
from daq.measure import orifice
from daq.planning import profile_of
from daq.procedure import plan_from
from daq.procedure.one_supply import SAME_RESTRICTOR
from daq.procedure.plan import Temperature
from daq.procedure.trend import Axis, Point, Quantity, Trend, limit_area_ratio, trend
from daq.records import Limit
from daq.report.test_record import utc_of
from daq.sinks.store.database import Database
from daq.units import MM2_PER_M2

_M_PER_KM, _S_PER_H = 1e3, 3600.0


@dataclass(frozen=True, slots=True)
class Reading:
    """What one test says of one cylinder. `x` on the axis in SI; areas in m2, `u_` standard uncertainties."""

    test: str
    x: float
    cold: bool | None
    area_ratio: float
    u_area_ratio: float
    leak_m2: float
    u_leak_m2: float

    @property
    def restrictor_m2(self) -> float:
        """Effective area; not known where nothing leaks."""
        return self.leak_m2 / self.area_ratio if self.area_ratio > 0 and self.leak_m2 > 0 else math.nan


@dataclass(frozen=True, slots=True)
class History:
    """`courses` by cylinder. `without_axis`: tests that do not say their hours or distance, and are left out;
    `unusable`: readings without a value or an uncertainty."""

    engine: str
    axis: Axis
    quantity: Quantity
    tests: int
    without_axis: int
    unusable: int
    limit: float | None
    courses: Mapping[int, Trend]


_READINGS = """
    SELECT test.name AS test, test.started_utc, json_extract(test.plan, '$.temperature') AS heat,
        json_extract(test.plan, '$.about.hours') AS hours, json_extract(test.plan, '$.about.distance_km') AS km,
        result.cylinder, reading.area_ratio, json_extract(event.detail, '$.u_area_ratio') AS u_area_ratio,
        reading.leak_area_mm2, reading.u_leak_area_mm2, max(result.id)
    FROM test JOIN cylinder_result AS result ON result.test_id = test.id AND result.withdrawn_utc IS NULL
        JOIN stable_reading AS reading
            ON reading.id = coalesce(result.after_tap_reading_id, result.as_found_reading_id)
        JOIN event ON event.id = reading.event_id
    WHERE test.engine = ? GROUP BY test.id, result.cylinder ORDER BY test.started_utc, test.id
"""
_ENGINES = "SELECT DISTINCT engine FROM test ORDER BY engine"
_NEWEST_PLAN = "SELECT plan FROM test WHERE engine = ? ORDER BY started_utc DESC, id DESC LIMIT 1"


def bore_m(database: Database, engine: str) -> float | None:
    """That of the profile of its newest test; None where it is not known."""
    plan = next(iter(database.query(_NEWEST_PLAN, [engine])), None)
    return None if plan is None else profile_of(plan_from(plan["plan"])).bore_m


def load_history(database: Database, engine: str, axis: Axis, limit: Limit, atmosphere_pa: float) -> History:
    """`limit` as it is stated. UsageError for an engine without results, or without any test that is on the axis."""
    rows = list(database.query(_READINGS, [engine]))
    if not rows:
        raise _without_results(engine, [row["engine"] for row in database.query(_ENGINES)])
    placed = [row for row in rows if _x(row, axis) is not None]
    found = [(row["cylinder"], _reading(row, axis)) for row in placed]
    usable = [(cylinder, reading) for cylinder, reading in found if _known(reading)]
    if not placed:
        raise UsageError(f"No test of {engine!r} says its {axis.value}.", "Say it when a test is started, or use date.")
    if not usable:
        raise UsageError(
            f"No reading of {engine!r} has both a leak and an uncertainty.",
            "Test it once more: readings of this version have both.",
            f"{len(found)} readings",
        )
    readings = [reading for _, reading in usable]
    quantity = Quantity.AREA_RATIO if _one_restrictor(readings) else Quantity.LEAK_AREA
    value = _limit(limit, atmosphere_pa, quantity, readings)
    tests = {row["test"] for row in rows}
    return History(
        engine,
        axis,
        quantity,
        len(tests),
        len(tests - {row["test"] for row in placed}),
        len(found) - len(usable),
        value,
        _courses(usable, axis, quantity, value),
    )


def _without_results(engine: str, there: Sequence[str]) -> UsageError:
    """An engine goes by the name in its profile; one of which no cylinder was vented after a capture has no result."""
    todo = "Name one that is there, as it is written." if there else "Test one: `boretight test start`."
    evidence = f"engines: {', '.join(there) or 'none'}"
    return UsageError(f"No result of an engine {engine!r} is stored.", todo, evidence)


def _x(row: Mapping[str, Any], axis: Axis) -> float | None:
    """SI; None where the test does not say it."""
    if axis is Axis.DATE:
        return utc_of(row["started_utc"]).timestamp()
    said, size = (row["hours"], _S_PER_H) if axis is Axis.HOURS else (row["km"], _M_PER_KM)
    return None if said is None else float(said) * size


def _reading(row: Mapping[str, Any], axis: Axis) -> Reading:
    x = _x(row, axis)
    assert x is not None
    return Reading(
        row["test"],
        x,
        Temperature(row["heat"] or Temperature.UNKNOWN).cold,
        _number(row["area_ratio"]),
        _number(row["u_area_ratio"]),
        _number(row["leak_area_mm2"]) / MM2_PER_M2,
        _number(row["u_leak_area_mm2"]) / MM2_PER_M2,
    )


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _known(reading: Reading) -> bool:
    values = (reading.area_ratio, reading.u_area_ratio, reading.leak_m2, reading.u_leak_m2)
    return all(map(math.isfinite, values))


def _one_restrictor(readings: Iterable[Reading]) -> bool:
    areas = [reading.restrictor_m2 for reading in readings if not math.isnan(reading.restrictor_m2)]
    return not areas or max(areas) <= (1 + SAME_RESTRICTOR) * min(areas)


def _limit(limit: Limit, atmosphere_pa: float, quantity: Quantity, readings: Sequence[Reading]) -> float | None:
    """The leak that the limit means; as an area ratio, that over the restrictor of the newest reading."""
    stated_m2 = limit.discharge_coefficient * orifice.circle_area(limit.restrictor_diameter_m)
    leak_m2 = limit_area_ratio(limit, atmosphere_pa) * stated_m2
    if quantity is Quantity.LEAK_AREA:
        return leak_m2
    own = [reading.restrictor_m2 for reading in readings if not math.isnan(reading.restrictor_m2)]
    return leak_m2 / own[-1] if own else None


def _courses(
    readings: Sequence[tuple[int, Reading]], axis: Axis, quantity: Quantity, limit: float | None
) -> dict[int, Trend]:
    by_cylinder: dict[int, list[Point]] = {}
    for cylinder, reading in readings:
        by_cylinder.setdefault(cylinder, []).append(_point(reading, quantity))
    return {cylinder: trend(by_cylinder[cylinder], axis, quantity, limit) for cylinder in sorted(by_cylinder)}


def _point(reading: Reading, quantity: Quantity) -> Point:
    if quantity is Quantity.AREA_RATIO:
        return Point(reading.x, reading.area_ratio, reading.u_area_ratio, reading.cold)
    return Point(reading.x, reading.leak_m2, reading.u_leak_m2, reading.cold)
