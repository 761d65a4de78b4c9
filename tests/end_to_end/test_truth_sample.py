"""A small fixed part of `make truth`: the same benches each time, judged by the same judge.

The limits are wide, for a sample is small; the figures that count are those of the whole run.
"""

from __future__ import annotations

import statistics
from dataclasses import replace

import pytest

from tests.benchmarks.truth.draw import draw
from tests.benchmarks.truth.faults import FIRST_NUMBER, KINDS, draw_faulty, judge_faulty
from tests.benchmarks.truth.findings import BenchFinding, ReadingFinding
from tests.benchmarks.truth.judge import judge
from tests.benchmarks.truth.summary import CHANGED_PCT, DEEP_PSI

BENCHES = range(100, 116)
TOLD_AT_ONCE = ("supply wire broken", "cylinder wire at 5 V", "channels swapped", "overpressure", "supply lost")


@pytest.fixture(scope="module")
def found() -> list[BenchFinding]:
    return [judge(draw("judging", 1, number)) for number in BENCHES]


def of(found: list[BenchFinding], name: str) -> list[ReadingFinding]:
    return [reading for bench in found for reading in bench.readings.get(name, ())]


@pytest.mark.parametrize(("name", "most_bias_pct"), [("data sheet", 0.5), ("paired", 0.15), ("calibrated", 0.15)])
def test_intervals_hold_the_truth_and_readings_are_not_biased(
    found: list[BenchFinding], name: str, most_bias_pct: float
) -> None:
    readings = of(found, name)
    assert len(readings) > 1.5 * len(BENCHES)
    assert statistics.mean(reading.covered for reading in readings) > 0.7
    assert abs(statistics.mean(reading.error_pct for reading in readings)) < most_bias_pct


def test_pairing_buys_what_it_says(found: list[BenchFinding]) -> None:
    sheet, paired = (statistics.median(r.half_width_pct for r in of(found, name)) for name in ("data sheet", "paired"))
    assert paired < sheet / 2
    errors = (statistics.median(abs(r.error_pct) for r in of(found, name)) for name in ("data sheet", "paired"))
    assert next(errors) > 2 * next(errors)


def test_nothing_is_called_stable_that_moves_or_has_no_air(found: list[BenchFinding]) -> None:
    readings = of(found, "paired")
    assert all(abs(reading.off_now_pct) < 0.5 and reading.place != "no air" for reading in readings)


def test_stable_comes_soon_after_it_is_true(found: list[BenchFinding]) -> None:
    late_s = [each.reading_s - each.oracle_s for bench in found for each in bench.settlings if each.kind != "other"]
    assert statistics.median(late_s) < 1.5


def test_taps_are_found_and_not_invented(found: list[BenchFinding]) -> None:
    deep = [tap for bench in found for tap in bench.taps if tap.depth_psi >= DEEP_PSI]
    assert len(deep) > len(BENCHES)
    assert statistics.mean(tap.found for tap in deep) > 0.95
    assert not any(bench.invented for bench in found)


def test_what_taps_did_is_told_the_right_way_round(found: list[BenchFinding]) -> None:
    told = [change for bench in found for change in bench.changes if change.verdict]
    assert any(abs(change.true_pct) >= CHANGED_PCT for change in told)
    assert all(change.direction_right for change in told if abs(change.true_pct) >= CHANGED_PCT)


def test_no_fault_is_told_where_there_is_none(found: list[BenchFinding]) -> None:
    assert not any(bench.faults for bench in found)


@pytest.mark.parametrize("name", TOLD_AT_ONCE)
def test_faults_are_told_by_their_names(name: str) -> None:
    number = FIRST_NUMBER + [kind.name for kind in KINDS].index(name)
    finding = judge_faulty(draw_faulty("judging", 1, number))
    assert finding.kind == name
    assert finding.late_s is not None and finding.late_s < 6.0


def test_the_judge_notices_an_instrument_that_states_too_much() -> None:
    """Ten times better sensors on paper do not hold the truth: without this the judge could be blind."""
    covered = []
    for number in BENCHES[:6]:
        plan = draw("judging", 1, number)
        sheet = plan.calibrations.data_sheet
        better = [replace(each, accuracy_pa=each.accuracy_pa / 10) for each in (sheet.supply, sheet.cylinder)]
        boast = replace(sheet, supply=better[0], cylinder=better[1])
        finding = judge(replace(plan, calibrations=replace(plan.calibrations, data_sheet=boast)))
        covered += [reading.covered for reading in finding.readings["data sheet"]]
    assert statistics.mean(covered) < 0.5
