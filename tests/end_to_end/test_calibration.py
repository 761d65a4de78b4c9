"""Calibration as a person does it: the real commands, a simulated board whose faults are known, and what is kept."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from daq.measure.uncertainty import coverage_factor
from simulator.scenario import TransducerSection, load
from simulator.units import PSI
from tests.end_to_end.bench import Bench

SPEED = 10
SCENARIOS = Path(__file__).parent / "scenarios"
BLOCKED, OPEN = SCENARIOS / "blocked-outlet.toml", SCENARIOS / "open-outlet.toml"


def pair(bench: Bench, scenario: object, *options: object) -> Any:
    how = ["--simulate", "--scenario", scenario, "--speed", SPEED, "--config", bench.config, *options]
    return bench.run("calibrate", "pairing", *how)


def calibrations(bench: Bench) -> list[Path]:
    return sorted((bench.storage / "calibrations").glob("*"))


def reads_pa(transducer: TransducerSection, true_pa: float) -> float:
    """What the data sheet makes of the volts of this piece."""
    return true_pa * (1 + transducer.span_error_pct / 100) + transducer.zero_error_psi * PSI


@pytest.mark.parametrize("scenario", ["pairing", BLOCKED], ids=["built-in", "coarse-and-both-ways"])
def test_a_pairing_finds_the_true_difference_within_what_it_states(bench: Bench, scenario: object) -> None:
    done = pair(bench, scenario, "--plateaus", 5, "--json", "--by", "the owner")
    assert done.returncode == 0, done.stderr
    record = json.loads(done.stdout)
    assert [json.loads(path.read_text()) for path in calibrations(bench)] == [record]
    found = record["result"]["pairing"]
    both = load(str(scenario)).transducer
    for true_psi in (0.0, 25.0, 50.0, 75.0, 100.0):
        supply_pa, cylinder_pa = (reads_pa(each, true_psi * PSI) for each in (both.supply, both.cylinder))
        error_pa = found["offset_pa"] + found["gain"] * supply_pa - (cylinder_pa - supply_pa)
        of_line = found["u_offset_pa"] ** 2 + (found["u_gain"] * supply_pa) ** 2
        of_line += 2 * found["correlation"] * found["u_offset_pa"] * found["u_gain"] * supply_pa
        assert abs(error_pa) < coverage_factor(found["degrees_of_freedom"]) * math.sqrt(of_line), true_psi
    assert record["after_pct"] < 0.35 * record["before_pct"]


def test_a_simulated_pairing_does_not_count_for_the_bench_of_the_user(bench: Bench) -> None:
    done = bench.run("calibrate", "pairing", "--simulate", "--speed", SPEED)
    assert done.returncode == 0 and "nothing is kept" in done.stdout
    assert not list(Path(bench.env["HOME"]).rglob("*-pairing-*.json"))


def test_the_next_calibration_list_shows_it_in_force(bench: Bench) -> None:
    assert pair(bench, "pairing").returncode == 0
    listed = bench.run("calibration", "list", "--json", "--config", bench.config)
    (record,) = json.loads(listed.stdout)["records"]
    assert (record["kind"], record["in_force"], record["overdue"]) == ("pairing", True, False)
    page = bench.folder / "certificate.html"
    shown = bench.run("calibration", "show", "--html", page, "--config", bench.config)
    assert (shown.returncode, shown.stderr) == (0, "")
    assert record["id"] in page.read_text(encoding="utf-8") and "<svg" in page.read_text(encoding="utf-8")
    told = bench.run("calibration", "show", record["id"][:5], "--config", bench.config)
    assert "pairing: residual" in told.stdout and "All together" in told.stdout


def test_an_open_outlet_is_refused_and_the_pairing_before_stays(bench: Bench) -> None:
    assert pair(bench, "pairing").returncode == 0
    before = {path: path.read_bytes() for path in calibrations(bench)}
    refused = pair(bench, OPEN)
    assert refused.returncode == 65 and "Traceback" not in refused.stderr
    assert "The outlet is not blocked" in refused.stderr and "soapy water" in refused.stderr
    assert {path: path.read_bytes() for path in calibrations(bench)} == before


def test_a_file_of_points_calibrates_and_a_bad_one_changes_nothing(bench: Bench) -> None:
    points = bench.folder / "points.csv"
    points.write_text("reference_psi,supply_v,cylinder_v\n0,0.51,0.50\n75,2.51,2.51\n150,4.51,4.52\n")
    how = ["--points", points, "--reference-name", "gauge 3", "--config", bench.config]
    done = bench.run("calibrate", "transducers", *how, "--reference-u", 0.2)
    assert done.returncode == 0 and "gauge 3" in done.stdout, done.stderr
    kept = {path: path.read_bytes() for path in calibrations(bench)}
    points.write_text(points.read_text().replace("reference_psi", "reference_bar"))
    for options, code, words in (
        (["--reference-u", 0.2], 65, "look like psi under the name of bar"),
        (["--reference-limit", 3], 65, "worse than the supply transducer"),
        ([], 64, "how good the reference gauge is"),
    ):
        refused = bench.run("calibrate", "transducers", *how, *options)
        assert refused.returncode == code and words in refused.stderr and "Traceback" not in refused.stderr
    assert len(kept) == 1 and {path: path.read_bytes() for path in calibrations(bench)} == kept


def test_known_jets_calibrate_the_restrictor_and_one_checks_it(bench: Bench) -> None:
    jets = bench.folder / "jets.csv"
    jets.write_text(
        "diameter_mm,cd,supply_psi,cylinder_psi\n0.6,0.8,100,96.6\n0.8,0.8,100,89.7\n1,0.8,100,78\n1.4,0.8,100,46.2\n"
    )
    done = bench.run("calibrate", "restrictor", "--jets", jets, "--config", bench.config)
    assert done.returncode == 0 and "L/(min bar)" in done.stdout, done.stderr
    check = ["calibrate", "check-jet", "--diameter-mm", 0.8, "--cd", 0.8, "--supply", 100, "--config", bench.config]
    assert "Nothing to do" in bench.run(*check, "--cylinder", 89.5).stdout
    assert "fouled" in bench.run(*check, "--cylinder", 86.5).stdout


def test_a_running_daemon_keeps_the_bench(bench: Bench) -> None:
    daemon = bench.daemon("--simulate", "--speed", SPEED)
    daemon.until(lambda: "stable_reading" in bench.kinds(), "a stable reading")
    refused = pair(bench, "pairing")
    assert refused.returncode == 74 and "in use by another boretight" in refused.stderr
    assert "Stop that one first" in refused.stderr and calibrations(bench) == []


def test_the_budget_of_a_reading_adds_up_to_its_uncertainty(bench: Bench) -> None:
    daemon = bench.daemon("--simulate", "--speed", SPEED)
    daemon.until(lambda: "stable_reading" in bench.kinds(), "a stable reading")
    daemon.end()
    (row,) = bench.rows("SELECT * FROM stable_reading ORDER BY id LIMIT 1")
    shown = bench.run("budget", row["id"], "--json", "--config", bench.config)
    found = json.loads(shown.stdout)
    assert (found["reading"], found["loss_pct"]) == (row["id"], row["loss_pct"])
    parts = [line["u"] * line["sensitivity"] for line in found["budget"]]
    assert math.hypot(*parts) == pytest.approx(row["u_loss_pct"], rel=1e-9)
    table = bench.run("budget", "last", "--config", bench.config)
    assert table.returncode == 0 and "supply class" in table.stdout
    assert f"expanded uncertainty {found['expanded_u_loss_pct']:.2f} points" in table.stdout
    for wrong in ("999999", "first"):
        assert bench.run("budget", wrong, "--config", bench.config).returncode == 64
