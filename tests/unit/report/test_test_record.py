"""A stored test out of the database: all of it, what counts of it, and what is refused."""

from __future__ import annotations

import math
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.errors import UsageError
from daq.procedure.leak_path import Suspect
from daq.procedure.leak_rules import Cause
from daq.records import Marked, Place, Strength, TakenBack, Withdrawn
from daq.report.engine.judged import judged
from daq.report.test_record import TestRecord
from daq.report.traces import Trace, traces
from daq.sinks.store import open_readonly
from tests.unit.procedure.judged import PAIRED, PSI
from tests.unit.report.engine_scenes import AFTER_S, AS_FOUND_S, TAP_S, VENTED_S, Scene, sound_four


def traces_of(scene: Scene) -> tuple[Trace, ...]:
    database = open_readonly(scene.path)
    try:
        return traces(database, scene.record())
    finally:
        database.close()


def test_the_readings_are_those_that_were_captured_with_their_budgets(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    done = [scene.cylinder(1, 5.0), scene.cylinder(3, 12.0, 6.0)]
    scene.write()
    assert scene.record().results == tuple(done)
    assert scene.record().results[0].as_found.budget


def test_calibration_profile_and_instrument_are_those_of_the_test(tmp_path: Path) -> None:
    record = sound_four(tmp_path).write().record()
    assert record.calibration == PAIRED and math.isinf(PAIRED.supply.degrees_of_freedom)
    assert (record.profile.name, record.profile.bore_m) == ("invented four", pytest.approx(0.086))
    assert record.instrument.set_point_pa == pytest.approx(100 * PSI)
    assert (record.complete, record.acknowledged, record.bench) == (True, "kim", "garage")


def test_what_was_taken_back_is_there_and_does_not_count(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 30.0)
    scene.withdraw(1, 1, "the hose was loose")
    again = scene.cylinder(1, 5.0, attempt=2)
    scene.broken_off(3, 8.0, 1)
    scene.write()
    record = scene.record()
    assert record.results == (again,)
    assert [(each.done.attempt, each.counts, each.withdrawn_why) for each in record.attempts] == [
        (1, False, "the hose was loose"),
        (2, True, ""),
    ]
    (broken,) = record.broken_off
    assert (broken.cylinder, broken.withdrawn) == (3, False) and broken.losses_pct == pytest.approx([8.0])


def test_the_second_tapping_of_a_cylinder_is_no_broken_attempt(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 20.0, 6.0)
    between = replace(scene.events[-2], t_s=scene.events[-2].t_s - 1.5)
    scene.events.insert(-2, between)
    record = scene.write().record()
    assert len(scene.rows("SELECT * FROM stable_reading")) == 3
    assert record.broken_off == () and record.results[0].after_tap.t_s > between.t_s


def test_a_test_is_found_by_name_by_its_begin_and_as_the_last(tmp_path: Path) -> None:
    for name in ("spring", "summer", "spring-two"):
        sound_four(tmp_path, test=name).write(boot=name)
    scene = sound_four(tmp_path)
    assert [scene.record(wanted).name for wanted in ("last", "spring", "su")] == ["spring-two", "spring", "summer"]
    for wanted, said in (("autumn", "No test 'autumn'"), ("s", "Several tests begin with 's'")):
        with pytest.raises(UsageError, match=said):
            scene.record(wanted)


def test_a_percent_sign_in_a_begin_is_no_pattern(tmp_path: Path) -> None:
    scene = sound_four(tmp_path).write()
    with pytest.raises(UsageError, match="No test '%'"):
        scene.record("%")


def test_findings_that_were_taken_back_do_not_count(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 20.0)
    scene.heard(1, 1, Place.EXHAUST, Strength.CLEAR, "a whistle")
    scene.heard(2, 1, Place.INTAKE, Strength.FAINT)
    scene.events.append(Withdrawn(1, scene.clock_s, TakenBack.FINDING, 1, 2, "taken back"))
    record = scene.write().record()
    assert [(each.place, each.note) for each in record.heard] == [(Place.EXHAUST, "a whistle")]
    assert len(record.findings) == 2


def test_an_acknowledgement_by_mark_counts_as_one(tmp_path: Path) -> None:
    scene = Scene(tmp_path, acknowledged="")
    scene.events.append(Marked(1, 1.5, "acknowledge", "lee", "operator"))
    scene.cylinder(1, 5.0)
    scene.end()
    assert scene.write().record().acknowledged == "lee"


def test_rocking_the_crank_is_told_by_mark_and_the_newest_word_counts(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    for place, text in enumerate(("3: same", "4: Same", "3: changed", "never mind")):
        scene.events.append(Marked(1, 1.5 + place, "rocked", text, "operator"))
    for cylinder, loss_pct in ((1, 5.0), (3, 30.0), (4, 5.2), (2, 5.1)):
        scene.cylinder(cylinder, loss_pct)
    scene.end()
    record = scene.write().record()
    assert record.rocked == {3: True, 4: False}
    assert {suspect.cause: suspect.points for suspect in suspects(record, cylinder=3)}[Cause.RINGS] == 1
    assert Cause.RINGS not in {cause.cause for cause in suspects(replace(record, rocked={}), cylinder=3)}


def suspects(record: TestRecord, cylinder: int) -> tuple[Suspect, ...]:
    judgement = judged(record, "common").judgement
    assert judgement is not None
    (one,) = (each for each in judgement.facts.cylinders if each.cylinder == cylinder)
    assert one.leak_path is not None
    return one.leak_path.suspects


def test_a_trace_shows_the_pressures_the_captures_and_the_taps(tmp_path: Path) -> None:
    found = traces_of(sound_four(tmp_path).write())
    assert [trace.cylinder for trace in found] == [1, 3, 4, 2]
    last = found[-1]
    assert (last.as_found_s, last.after_tap_s) == (pytest.approx(AS_FOUND_S), pytest.approx(AFTER_S))
    assert last.taps_s == (pytest.approx(TAP_S),) and found[0].taps_s == ()
    assert last.t_s[0] == pytest.approx(0.0, abs=0.1) and last.t_s[-1] == pytest.approx(VENTED_S, abs=0.2)
    held = last.t_s > 4
    np.testing.assert_allclose(last.supply_pa[held], 100 * PSI, rtol=1e-4)
    np.testing.assert_allclose(last.loss_pct[held], 19.0, atol=0.02)


def test_attempts_that_do_not_count_have_no_trace_and_neither_has_what_has_no_samples(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 30.0)
    scene.withdraw(1, 1, "loose")
    scene.cylinder(1, 5.0, attempt=2)
    scene.cylinder(3, 5.0)
    scene.pieces.pop()
    assert [(trace.cylinder, trace.attempt) for trace in traces_of(scene.write())] == [(1, 2)]


def test_a_cylinder_that_was_vented_after_a_crash_is_shown_from_the_run_that_captured_it(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    done = scene.cylinder(1, 12.0)
    scene.events.pop()
    scene.write("boot-1")
    database = sqlite3.connect(scene.path)
    with database:
        database.execute("UPDATE boot SET ended_utc = NULL")
    database.close()
    scene.pieces, scene.events = [], [replace(done, segment=4, t_s=3.0)]
    scene.write("boot-2")
    (attempt,) = scene.record().attempts
    assert (attempt.reading_boot_id, attempt.boot_id) == (1, 2)
    (trace,) = traces_of(scene)
    assert trace.as_found_s == pytest.approx(AS_FOUND_S) and trace.t_s[-1] == pytest.approx(AS_FOUND_S + 2, abs=0.2)
