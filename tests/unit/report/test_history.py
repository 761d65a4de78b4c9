"""The history of an engine out of the database: what counts, on which axis, in which quantity, against which limit."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daq.errors import UsageError
from daq.measure import leakage
from daq.procedure.plan import Temperature
from daq.procedure.trend import Axis, Changed, Direction, Quantity
from daq.procedure.verdict import COMMON_PRACTICE
from daq.records import StableReading
from daq.report.history import History, load_history
from daq.sinks.store import open_readonly
from tests.unit.procedure.judged import SET_PA
from tests.unit.report.engine_scenes import Scene

ATMOSPHERE_PA = 101_325.0
YEAR_S = 365.25 * 86_400


def year(folder: Path, n: int, loss_pct: float, **more: Any) -> Scene:
    """The test of year `n`: cylinder 1 after a tap, cylinder 3 always the same."""
    scene = Scene(folder, test=f"year-{n}", clock_s=2.0 + n * YEAR_S, **more)
    scene.events = [replace(event, t_s=event.t_s + n * YEAR_S) for event in scene.events]
    scene.cylinder(1, 30.0, loss_pct)
    scene.cylinder(3, 6.0)
    scene.end()
    return scene


def stored(*scenes: Scene) -> Path:
    for number, scene in enumerate(scenes):
        scene.write(boot=f"boot-{number}")
    return scenes[0].path


def history(path: Path, axis: Axis = Axis.DATE, engine: str = "invented four") -> History:
    database = open_readonly(path)
    try:
        return load_history(database, engine, axis, COMMON_PRACTICE.investigate_from, ATMOSPHERE_PA)
    finally:
        database.close()


def k_of(loss_pct: float) -> float:
    inside_pa = SET_PA * (1 - loss_pct / 100)
    return float(leakage.area_ratio(SET_PA + ATMOSPHERE_PA, inside_pa + ATMOSPHERE_PA, ATMOSPHERE_PA))


def test_the_newest_reading_of_each_test_makes_the_course(tmp_path: Path) -> None:
    found = history(stored(*(year(tmp_path, n, 5.0 + 1.2 * n) for n in range(6))))
    assert (found.tests, found.quantity, sorted(found.courses)) == (6, Quantity.AREA_RATIO, [1, 3])
    rising, still = found.courses[1], found.courses[3]
    assert [point.value for point in rising.points] == pytest.approx([k_of(5.0 + 1.2 * n) for n in range(6)], rel=1e-3)
    assert (rising.direction, still.direction) == (Direction.RISING, Direction.NONE)
    assert (rising.change.word, still.change.word) == (Changed.HIGHER, Changed.SAME)
    assert found.limit == pytest.approx(k_of(15.0), rel=1e-3)
    assert rising.forecast is not None and rising.forecast.at is not None
    years = (rising.forecast.at - rising.points[0].x) / YEAR_S
    assert 7.0 < years < 9.5  # the loss rises by 1.2 points a year from 5 to 15: k a little faster at first


def test_what_was_taken_back_is_not_in_the_history(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 5.0)
    scene.cylinder(1, 40.0, attempt=2)
    scene.withdraw(1, 2, "loose")
    (point,) = history(stored(scene)).courses[1].points
    assert point.value == pytest.approx(k_of(5.0), rel=1e-3)


def test_tests_without_hours_are_left_out_on_that_axis_and_counted(tmp_path: Path) -> None:
    path = stored(
        year(tmp_path, 0, 5.0, about={"hours": 100.0, "distance_km": 5.0}),
        year(tmp_path, 1, 6.0),
        year(tmp_path, 2, 7.0, about={"hours": 150.5}),
    )
    by_hours, by_distance = history(path, Axis.HOURS), history(path, Axis.DISTANCE)
    assert [point.x for point in by_hours.courses[1].points] == [360_000.0, 541_800.0]
    assert (by_hours.without_axis, by_distance.without_axis) == (1, 2)
    assert [point.x for point in by_distance.courses[1].points] == [5000.0]


def test_cold_tests_are_marked_as_such(tmp_path: Path) -> None:
    cold = year(tmp_path, 1, 12.0, temperature=Temperature.COLD)
    found = history(stored(year(tmp_path, 0, 5.0), cold)).courses[1]
    assert (len(found.points), found.left_out) == (1, 1)


def test_mixed_restrictors_are_compared_by_the_area_of_the_leak(tmp_path: Path) -> None:
    other = year(tmp_path, 1, 5.0)
    other.events = [
        replace(event, leak_area_m2=2 * event.leak_area_m2) if isinstance(event, StableReading) else event
        for event in other.events
    ]
    found = history(stored(year(tmp_path, 0, 5.0), other))
    assert found.quantity is Quantity.LEAK_AREA
    first, second = found.courses[1].points
    assert second.value == pytest.approx(2 * first.value)
    assert found.limit == pytest.approx(k_of(15.0) * 0.8 * 0.8107e-6, rel=1e-3)


def test_engines_and_axes_without_any_test_are_refused(tmp_path: Path) -> None:
    path = stored(year(tmp_path, 0, 5.0))
    with pytest.raises(UsageError, match="No result of an engine 'other'") as error:
        history(path, engine="other")
    assert "invented four" in error.value.evidence and "Name one" in error.value.todo
    with pytest.raises(UsageError, match="says its hours"):
        history(path, Axis.HOURS)


def spoiled(path: Path, sql: str) -> Path:
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(sql)
    return path


@pytest.mark.parametrize(
    ("sql", "what", "todo"),
    [
        ("DELETE FROM test", "No result of an engine", "Test one: `boretight test start`"),
        ("DELETE FROM cylinder_result", "No result of an engine", "Name one that is there"),
        (
            "UPDATE event SET detail = json_remove(detail, '$.u_area_ratio')",
            "both a leak and an unc",
            "Test it once more",
        ),
    ],
)
def test_what_is_missing_is_said_with_what_to_do(tmp_path: Path, sql: str, what: str, todo: str) -> None:
    with pytest.raises(UsageError, match=what) as error:
        history(spoiled(stored(year(tmp_path, 0, 5.0)), sql))
    assert error.value.todo.startswith(todo)
