"""From the bytes of a simulated V8 to a report in every format, by the real commands on a bench that was paired."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from daq.calibrate.pairing import pair
from daq.calibrate.plateaus import Plateau
from daq.calibration_files import Made, PairingRecord, lines_id, save
from daq.config import load
from simulator.scenario import TransducerSection
from simulator.scenario import load as scenario
from simulator.units import PSI
from tests.end_to_end.bench import Bench

BURNT, DIRTY = 5, 2
"""The cylinders of the scenario with a burnt valve, and with debris that a tap clears."""


def reads_pa(transducer: TransducerSection, true_pa: float) -> float:
    """What the data sheet makes of the volts of this piece."""
    return true_pa * (1 + transducer.span_error_pct / 100) + transducer.zero_error_psi * PSI


def pair_the_bench(config: Path, name: str) -> None:
    """A pairing of the very transducers of the scenario, as `boretight calibrate pairing` keeps it."""
    configured, board = load(config), scenario(name).transducer
    lines, now = configured.calibration_record(), datetime(2025, 12, 31, tzinfo=UTC)
    plateaus = [
        Plateau(n, reads_pa(board.supply, psi * PSI), reads_pa(board.cylinder, psi * PSI), 10.0)
        for n, psi in enumerate((20.0, 50.0, 75.0, 100.0))
    ]
    result = pair(plateaus, lines, 100 * PSI, now.timestamp())
    made = Made(utc=now, by="the owner", software="boretight", due_utc=now + timedelta(days=7))
    kept = PairingRecord(
        made=made, lines_id=lines_id(lines), set_point_pa=100 * PSI, result=result, before_pct=1.1, after_pct=0.2
    )
    save(configured.storage.calibrations, kept)


@dataclass(frozen=True)
class Replayed:
    bench: Bench
    database: Path

    def run(self, *words: object) -> str:
        done = self.bench.run(*words, "--database", self.database, "--config", self.bench.config)
        assert (done.returncode, done.stderr) == (0, ""), done.stderr
        return done.stdout

    def figures(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.run("report", "--json", "-"))
        return found


@pytest.fixture(scope="module")
def replayed(tmp_path_factory: pytest.TempPathFactory) -> Replayed:
    folder = tmp_path_factory.mktemp("report")
    bench = Bench(folder, order="1-8-4-3-6-5-7-2")
    log, database = folder / "v8.btlog", folder / "v8.db"
    pair_the_bench(bench.config, "v8")
    assert bench.run("render", "v8", log).returncode == 0
    done = bench.run("replay", log, "--into", database, "--config", bench.config)
    assert done.returncode == 0, done.stderr
    return Replayed(bench, database)


def test_the_report_finds_what_the_simulator_broke(replayed: Replayed) -> None:
    found = replayed.figures()
    by_number = {row["cylinder"]: row for row in found["cylinders"]}
    assert [number for number, row in by_number.items() if row["verdict"] != "sound"] == [BURNT]
    assert by_number[BURNT]["verdict"] == found["verdict"] == "investigate"
    assert by_number[DIRTY]["taps_did"] == "improved" and by_number[DIRTY]["as_found_loss_at_set_pct"] > 15
    assert all(row["as_found_expanded_u_loss_pct"] < 0.6 for row in by_number.values())  # unpaired: 1.1
    assert found["calibration"]["pairing"] is not None and f"cylinder {BURNT}" in found["advice"]


def test_every_format_holds_the_same_figures(replayed: Replayed) -> None:
    paths = {name: replayed.bench.folder / f"v8.{name}" for name in ("html", "pdf", "png", "csv", "json")}
    printed = replayed.run("report", *(word for name, path in paths.items() for word in (f"--{name}", path)))
    assert printed.split() == [str(path) for path in paths.values()]
    figures = json.loads(paths["json"].read_text(encoding="utf-8"))
    page, paper = " ".join(paths["html"].read_text(encoding="utf-8").split()), _text(paths["pdf"])
    assert figures["advice"] in page and figures["advice"] in paper
    for row, line in zip(figures["cylinders"], csv.DictReader(paths["csv"].open(encoding="utf-8")), strict=True):
        loss, u = row["as_found_loss_at_set_pct"], row["as_found_expanded_u_loss_pct"]
        assert f"{loss:.2f} ±{u:.2f}" in page and f"{loss:.2f} ±{u:.2f}" in paper
        assert float(line["as_found_loss_at_set_pct"]) == loss
    stored = {
        row["cylinder"]: row["as_found_loss_at_set_pct"]
        for row in csv.DictReader(io.StringIO(replayed.run("export", "cylinders")))
    }
    assert {str(row["cylinder"]): row["as_found_loss_at_set_pct"] for row in figures["cylinders"]} == {
        number: float(loss) for number, loss in stored.items()
    }
    assert paths["png"].read_bytes().startswith(b"\x89PNG")


def _text(path: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())


def test_what_is_heard_afterwards_changes_the_advice(replayed: Replayed) -> None:
    before = replayed.figures()
    replayed.run("finding", "add", "last", f"{BURNT}: exhaust clear")
    after = replayed.figures()
    path = {row["cylinder"]: row["leak_path"] for row in after["cylinders"]}
    assert "exhaust valve" in path[BURNT] and before["advice"] != after["advice"]
    assert "clearly air at the exhaust" in replayed.run("test", "show")


def test_the_history_begins_with_this_test(replayed: Replayed) -> None:
    assert "Too few readings for a trend (1)" in replayed.run("history", "invented four")
