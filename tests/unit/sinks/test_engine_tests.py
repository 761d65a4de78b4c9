"""The rows of a test of an engine, and going on with one that a run was in the middle of."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest

from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.records import (
    AirChange,
    AirState,
    Contribution,
    CylinderDone,
    Event,
    Finding,
    Marked,
    Place,
    Resume,
    Session,
    StableReading,
    Strength,
    SupplyChange,
    SupplyState,
    TakenBack,
    Tap,
    TestDone,
    TestStarted,
    Withdrawn,
)
from daq.sinks.event_json import kind_of, plain
from daq.sinks.raw_log_format import MAX_PAYLOAD, encode_entry, scan
from daq.sinks.store.engine_tests import is_stored
from daq.sinks.store.store import Store
from tests.suites.deliveries import UTC_OFFSET_S, delivery, stable
from tests.unit.sinks.store_scenes import change, store, table, write

PLAN = TestPlan("2026-four", EngineOrder("invented four", (1, 3, 4, 2)), acknowledged="kim")
STARTED = TestStarted(1, 1.0, PLAN.test, "invented four", PLAN.to_text())
LONG_AGO = -13 * 3600.0


def first_cylinder(attempt: int = 1) -> tuple[StableReading, CylinderDone]:
    reading = replace(stable(10.0 * attempt, 1), attempt=attempt)
    return reading, CylinderDone(1, 10.0 * attempt + 5, 1, reading, None, 0, attempt)


def run(*events: Event, to: Path, boot: str = "boot-1", killed: bool = True, offset_s: float = UTC_OFFSET_S) -> None:
    """A run that stores these events, and then is killed or ends."""
    made = store(to, boot, now=lambda: offset_s + 20.0)

    async def scene() -> None:
        await made.open()
        await made.write(delivery(*events, offset_s=offset_s))
        await made.close()

    asyncio.run(scene())
    if killed:
        change(to, f"UPDATE boot SET ended_utc = NULL WHERE name = '{boot}'")


def reopened(folder: Path, now_s: float = UTC_OFFSET_S + 60.0) -> Store:
    made = store(folder, "boot-2", now=lambda: now_s)

    async def scene() -> None:
        await made.open()
        await made.close()

    asyncio.run(scene())
    return made


def test_a_test_has_a_row_with_its_plan_and_its_end(tmp_path: Path) -> None:
    reading, done = first_cylinder()
    end = TestDone(1, 30.0, "invented four", (done,), PLAN.test, (3,), complete=False)
    write(store(tmp_path), delivery(STARTED, reading, done, end))
    (row,) = table(tmp_path, "test")
    assert (row["name"], row["engine"], row["skipped"], row["complete"]) == ("2026-four", "invented four", "3", 0)
    assert row["started_utc"] == "2026-01-01T00:00:01.000000Z" and row["ended_utc"] == "2026-01-01T00:00:30.000000Z"
    assert row["plan"] == PLAN.to_text()
    assert [each["test_id"] for each in table(tmp_path, "cylinder_result")] == [row["id"]]
    assert [each["test_id"] for each in table(tmp_path, "stable_reading")] == [row["id"]]


def test_what_is_withdrawn_stays_and_says_why(tmp_path: Path) -> None:
    one, other = first_cylinder(1), first_cylinder(2)
    withdrawn = Withdrawn(1, 17.0, TakenBack.RESULT, 1, 1, "repeated")
    write(store(tmp_path), delivery(STARTED, *one, withdrawn, *other))
    assert [(row["attempt"], row["withdrawn_utc"] is None, row["withdrawn_why"]) for row in table(
        tmp_path, "cylinder_result"
    )] == [(1, False, "repeated"), (2, True, None)]  # fmt: skip
    assert [row["withdrawn_utc"] is None for row in table(tmp_path, "stable_reading")] == [False, True]


def test_findings_are_kept_and_can_be_withdrawn(tmp_path: Path) -> None:
    found = Finding(1, 12.0, 1, 1, Place.EXHAUST, Strength.CLEAR, None, "at the tailpipe")
    other = Finding(1, 13.0, 2, 1, Place.NEXT_CYLINDER, Strength.FAINT, 3)
    write(store(tmp_path), delivery(STARTED, found, other, Withdrawn(1, 14.0, TakenBack.FINDING, 1, 2, "taken back")))
    assert [(r["place"], r["strength"], r["neighbour"], r["note"], r["withdrawn_utc"]) for r in table(
        tmp_path, "finding"
    )] == [
        ("exhaust", "clear", None, "at the tailpipe", None),
        ("next-cylinder", "faint", 3, "", "2026-01-01T00:00:14.000000Z"),
    ]  # fmt: skip


def test_a_test_that_a_killed_run_was_in_is_gone_on_with(tmp_path: Path) -> None:
    held = SupplyChange(1, 2.0, SupplyState.HELD, 6.9e5, 6.9e5, "in band and steady")
    events = [STARTED, held, AirChange(1, 3.0, AirState.ON, 6e5), stable(10.0, 1), Tap(1, 12.0, 11.0, 5e4, 0.5)]
    run(*events, to=tmp_path)
    unfinished = reopened(tmp_path).unfinished
    assert unfinished is not None
    assert [plain(event) for event in unfinished.events] == [plain(event) for event in events]
    procedure = Procedure(EngineOrder("another", (1,)))
    procedure.resume(unfinished.events)
    assert (procedure.phase, procedure.cylinder) == ("resettle", 1)


def test_a_test_that_began_under_air_is_gone_on_with_under_air(tmp_path: Path) -> None:
    """Only the newest of each kind, of the same run."""
    plan = replace(PLAN, acknowledged="")
    started = replace(STARTED, plan=plan.to_text())
    held = SupplyChange(1, 0.5, SupplyState.HELD, 6.9e5, 6.9e5, "in band and steady")
    on, off = AirChange(1, 0.8, AirState.ON, 6e5), AirChange(1, 0.2, AirState.OFF, 0.0)
    run(held, AirChange(1, 0.9, AirState.ON, 6e5), to=tmp_path, boot="boot-0")
    run(off, held, on, started, Marked(1, 2.0, "acknowledge", "", "operator"), to=tmp_path)
    unfinished = reopened(tmp_path).unfinished
    assert unfinished is not None and unfinished.before == (held, on)
    procedure = Procedure(EngineOrder("another", (1,)))
    procedure.resume([*unfinished.before, *unfinished.events])
    assert procedure.phase == "settle"


def test_a_name_is_known_once_it_is_stored(tmp_path: Path) -> None:
    path = tmp_path / "bench.db"
    assert not is_stored(path, PLAN.test) and not path.exists()
    write(store(tmp_path), delivery(STARTED))
    assert is_stored(path, PLAN.test) and not is_stored(path, "2026")


def test_results_after_a_kill_belong_to_the_same_test_and_to_the_reading_before_it(tmp_path: Path) -> None:
    reading, done = first_cylinder()
    run(STARTED, reading, to=tmp_path)
    run(replace(done, t_s=2.0), to=tmp_path, boot="boot-2")
    (result,) = table(tmp_path, "cylinder_result")
    assert result["as_found_reading_id"] == table(tmp_path, "stable_reading")[0]["id"]
    assert result["test_id"] == table(tmp_path, "test")[0]["id"]


def test_a_replay_of_a_run_that_went_on_with_a_test_adds_to_it(tmp_path: Path) -> None:
    """Such a run says by its session which test that is; one that has not begun is none."""
    reading, done = first_cylinder()
    write(store(tmp_path, "replay-1"), delivery(STARTED, reading))
    goes_on = Session(0, 0.0, "invented four", 1, "as-found", 3, PLAN.test)
    write(store(tmp_path, "replay-2", goes_on=False), delivery(goes_on, done))
    write(
        store(tmp_path, "replay-3", goes_on=False), delivery(replace(goes_on, test="boot-3-1"), replace(done, t_s=3.0))
    )
    assert [row["test_id"] for row in table(tmp_path, "cylinder_result")] == [1, None]


@pytest.mark.parametrize(
    ("explicit", "killed", "offset_s", "goes_on"),
    [
        (True, True, UTC_OFFSET_S, True),
        (True, False, UTC_OFFSET_S, True),
        (False, True, UTC_OFFSET_S, True),
        (False, False, UTC_OFFSET_S, False),
        (True, True, UTC_OFFSET_S + LONG_AGO, False),
    ],
)
def test_which_tests_are_gone_on_with(
    tmp_path: Path, explicit: bool, killed: bool, offset_s: float, goes_on: bool
) -> None:
    started = replace(STARTED, plan=replace(PLAN, explicit=explicit).to_text())
    run(started, stable(10.0, 1), to=tmp_path, killed=killed, offset_s=offset_s)
    assert (reopened(tmp_path).unfinished is not None) is goes_on


def test_runs_that_were_killed_before_they_noted_anything_break_no_test_off(tmp_path: Path) -> None:
    run(STARTED, stable(10.0, 1), to=tmp_path)
    run(to=tmp_path, boot="boot-1b")
    assert reopened(tmp_path).unfinished is not None


def test_a_test_that_is_done_is_not_gone_on_with(tmp_path: Path) -> None:
    run(STARTED, TestDone(1, 30.0, "invented four", (), PLAN.test), to=tmp_path)
    assert reopened(tmp_path).unfinished is None


def test_a_name_that_is_taken_becomes_another_one(tmp_path: Path) -> None:
    for boot in ("live", "replay"):
        write(store(tmp_path, boot), delivery(STARTED))
    assert [row["name"] for row in table(tmp_path, "test")] == ["2026-four", "2026-four in replay"]


def test_the_raw_log_keeps_what_is_gone_on_with() -> None:
    events = (STARTED, Marked(1, 2.0, "note", "oil cap off", "operator"), stable(10.0, 1))
    (back,) = scan([encode_entry(Resume(7.5, events))])
    assert isinstance(back, Resume) and back.at_s == 7.5
    assert [(kind_of(event), plain(event)) for event in back.events] == [
        (kind_of(event), plain(event)) for event in events
    ]


def test_the_raw_log_keeps_a_long_test_too() -> None:
    """Hundreds of readings, each with its budget: more than a record of another kind may hold."""
    line = Contribution("supply class, in so many words", 1.0, "Pa", 1e-4, 50.0)
    reading = replace(stable(10.0, 1), budget=(line,) * 20)
    log = encode_entry(Resume(7.5, (STARTED, *[reading] * 600)))
    assert len(log) > MAX_PAYLOAD
    (back,) = scan([log[:1000], log[1000:]])
    assert isinstance(back, Resume) and len(back.events) == 601


def test_a_result_that_is_told_again_counts_once(tmp_path: Path) -> None:
    """As the logs of a run that was killed and of the one after it, replayed one after the other."""
    reading, done = first_cylinder()
    write(store(tmp_path), delivery(STARTED, reading, done, replace(done, t_s=16.0)))
    rows_of = [(row["withdrawn_why"], row["t_utc"][-10:]) for row in table(tmp_path, "cylinder_result")]
    assert rows_of == [("told again", "15.000000Z"), (None, "16.000000Z")]
