"""The commands of calibration: guided runs on a board that the test plays, files of points, and what is refused."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from daq.calibration_files import RestrictorRecord, TransducersRecord, read_shelf
from daq.cli import calibrate_pairing, calibrate_restrictor, calibrate_transducers
from daq.cli.calibrate_restrictor import Named, typed_jet
from daq.cli.calibrate_transducers import Points, Reference
from daq.cli.live_ticks import wait_until_still
from daq.cli.workshop import Board as BoardChoice
from daq.cli.workshop import Notes, Workshop, open_workshop
from daq.errors import BoretightError, DataError, StorageError, UsageError
from daq.records import Board, LineFormat, Ticks
from daq.sinks.store.lock import DatabaseLock
from tests.unit.calibrate.records_of import LEVELS_PSI, restrictor

PSI = 6894.757293168361
NO_BOARD = BoardChoice("socket://127.0.0.1:1")
GAUGE = Reference("gauge 3", expanded_u=0.2)
BITS = 16


@dataclass
class Bench:
    """Both transducers at pressures that the test sets, psi; ticks come as fast as they are asked for."""

    supply_psi: float = 0.0
    cylinder_psi: float | None = None
    creep_psi_s: float = 0.0
    board: Board = field(default_factory=lambda: Board(LineFormat.FRAMED, BITS, maker="M", model="test", serial="7"))
    _tick: int = 0

    def __iter__(self) -> Iterator[Ticks]:
        while True:
            yield self.take(1)

    def forget(self) -> None: ...

    def take(self, n: int) -> Ticks:
        t_s = (self._tick + np.arange(n)) * 0.05
        self._tick += n
        supply = self.supply_psi + self.creep_psi_s * t_s
        cylinder = supply if self.cylinder_psi is None else np.full(n, self.cylinder_psi)
        # the supply transducer is right, the cylinder's reads 0.3 psi and 0.2 % too high
        counts = [(0.5 + psi * 4 / 150) / 5 * 2**BITS - 0.5 for psi in (supply, cylinder * 1.002 + 0.3)]
        return Ticks(0, t_s, np.full(n, 10), counts[0], counts[1], counts[1], np.zeros(n), np.zeros(n, np.int64))


class Person:
    """Answers each question with the next of its lines, having set the bench first; a callable is asked for a line."""

    def __init__(self, bench: Bench, *lines: str | tuple[float, str]) -> None:
        self._bench, self._lines = bench, list(lines)
        self.asked: list[str] = []

    def __call__(self, prompt: str) -> str:
        self.asked.append(prompt)
        if not self._lines:
            raise EOFError
        line = self._lines.pop(0)
        if isinstance(line, tuple):
            self._bench.supply_psi, line = line
        return line


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "boretight.toml"
    path.write_text(f'[storage]\nfolder = "{tmp_path / "data"}"\n')
    return path


@pytest.fixture
def shop(config: Path) -> Workshop:
    return open_workshop(config)


def kept(shop: Workshop) -> list[str]:
    return [record.kind for record in read_shelf(shop.folder).records]


# ---- waiting for rest


def test_a_steady_pressure_is_the_mean_of_two_seconds(shop: Workshop) -> None:
    still = wait_until_still(Bench(60.0), shop.lines, 100 * PSI)  # type: ignore[arg-type]
    assert still is not None
    assert (still.supply_v, still.supply_pa) == pytest.approx((2.1, 60 * PSI), rel=1e-9)
    assert still.cylinder_pa == pytest.approx(60.42 * PSI, rel=1e-9)


def test_a_pressure_that_creeps_is_given_up(shop: Workshop) -> None:
    assert wait_until_still(Bench(60.0, creep_psi_s=0.5), shop.lines, 100 * PSI) is None  # type: ignore[arg-type]


# ---- transducers, guided


def guided(shop: Workshop, *lines: str | tuple[float, str]) -> tuple[Points, Person]:
    bench = Bench()
    person = Person(bench, *lines)
    return calibrate_transducers.guided(bench, shop, person), person  # type: ignore[arg-type]


def test_a_guided_run_takes_the_gauge_and_both_voltages(shop: Workshop) -> None:
    points, person = guided(shop, (0.0, "0"), (60.0, "60.1"), (120.0, "119,9"), "done")
    np.testing.assert_allclose(points.reference_pa, np.array([0, 60.1, 119.9]) * PSI)
    np.testing.assert_allclose(points.supply_v, [0.5, 2.1, 3.7], rtol=1e-9)
    np.testing.assert_allclose(points.cylinder_v, 0.5 + np.array([0.3, 60.42, 120.54]) * 4 / 150, rtol=1e-9)
    assert points.board == "M test 7" and "[psi]" in person.asked[0]


def test_a_slip_is_undone_and_nonsense_is_asked_again(shop: Workshop, capsys: pytest.CaptureFixture[str]) -> None:
    points, person = guided(shop, "undo", (0.0, "0"), (60.0, "6O"), "", (60.0, "600"), "undo", (60.0, "60"))
    np.testing.assert_allclose(points.reference_pa, np.array([0, 60]) * PSI)
    assert [prompt[0] for prompt in person.asked] == list("11222323")
    assert capsys.readouterr().out.count("That is no number") == 2


def test_a_pressure_that_does_not_rest_is_no_point(shop: Workshop, capsys: pytest.CaptureFixture[str]) -> None:
    bench = Bench(60.0, creep_psi_s=0.5)
    with pytest.raises(DataError, match="No point was taken"):
        calibrate_transducers.guided(bench, shop, Person(bench, "60"))  # type: ignore[arg-type]
    assert "not come to rest" in capsys.readouterr().out


# ---- transducers, from a file


def points_file(folder: Path, header: str = "reference_psi,supply_v,cylinder_v", factor: float = 1.0) -> Path:
    path = folder / "points.csv"
    lines = [header, *(f"{p * factor},{0.51 + p * 4 / 150},{0.5 + p * 4.01 / 150}" for p in LEVELS_PSI)]
    path.write_text("\n".join(lines))
    return path


def run_transducers(config: Path, file: Path, reference: Reference = GAUGE, bits: int | None = None) -> None:
    notes = Notes("the owner", 21.0, 101.0, "warm day")
    calibrate_transducers.transducers(config, file, bits, reference, NO_BOARD, notes, 12, False)


def test_a_file_of_points_becomes_the_calibration_in_force(
    config: Path, shop: Workshop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run_transducers(config, points_file(tmp_path))
    (record,) = read_shelf(shop.folder).records
    assert isinstance(record, TransducersRecord)
    assert (record.made.by, record.made.ambient_c, record.made.note) == ("the owner", 21.0, "warm day")
    assert record.gauge.u_pa == pytest.approx(0.1 * PSI)
    assert (record.made.due_utc - record.made.utc).days == 365
    in_force = open_workshop(config).calibration
    assert in_force.supply.zero_v == pytest.approx(0.51) and in_force.cylinder.pa_per_v == pytest.approx(
        150 / 4.01 * PSI
    )
    said = capsys.readouterr().out
    assert "hysteresis" in said and str(shop.folder) in said


def test_the_second_record_is_compared_with_the_first(config: Path, shop: Workshop, tmp_path: Path) -> None:
    run_transducers(config, points_file(tmp_path))
    moved = points_file(tmp_path)
    moved.write_text(moved.read_text().replace(",0.51,", ",0.52,"))
    run_transducers(config, moved)
    first, second = read_shelf(shop.folder).records
    assert isinstance(second, TransducersRecord) and second.previous == first.id
    assert second.supply.drift is not None and second.supply.drift.most_pa > 0
    assert second.cylinder.drift is not None and second.cylinder.drift.most_pa == pytest.approx(0, abs=1e-3)


def test_counts_say_the_same_as_volts(shop: Workshop, config: Path, tmp_path: Path) -> None:
    volts = [(0.51 + p * 4 / 150, 0.5 + p * 4.01 / 150) for p in LEVELS_PSI]
    counts = "\n".join(
        f"{p},{a / 5 * 4096 - 0.5},{b / 5 * 4096 - 0.5}" for p, (a, b) in zip(LEVELS_PSI, volts, strict=True)
    )
    path = tmp_path / "counts.csv"
    path.write_text("reference_psi,supply_count,cylinder_count\n" + counts)
    with pytest.raises(UsageError, match="in counts"):
        run_transducers(config, path)
    run_transducers(config, path, bits=12)
    assert open_workshop(config).calibration.supply.zero_v == pytest.approx(0.51)


def test_counts_of_an_absolute_converter_follow_the_sensor_supply(config: Path, tmp_path: Path) -> None:
    rows = "\n".join(f"{p},{(0.51 + p * 4 / 150) * s},{(0.5 + p * 4 / 150) * s},{5 * s - 0.5}"
                     for p, s in zip(LEVELS_PSI, np.linspace(600, 620, 11), strict=True))  # fmt: skip
    path = tmp_path / "counts.csv"
    path.write_text("reference_psi,supply_count,cylinder_count,sensor_supply_count\n" + rows)
    run_transducers(config, path, bits=12)
    assert open_workshop(config).calibration.supply.zero_v == pytest.approx(0.51, abs=2e-3)


# ---- what is refused leaves everything as it was


def _few(folder: Path) -> Path:
    path = folder / "few.csv"
    path.write_text("reference_psi,supply_v,cylinder_v\n0,0.5,0.5\n100,3.17,3.17\n")
    return path


def _contradicting(folder: Path) -> Path:
    path = points_file(folder)
    path.write_text(path.read_text().replace("\n90.0,", "\n99.0,", 1))
    return path


@pytest.mark.parametrize(
    ("make", "reference", "words"),
    [
        (_few, GAUGE, "points at 2 pressures"),
        (_contradicting, GAUGE, "Point 4 of the supply channel contradicts"),
        (points_file, Reference("old gauge", limit=2.0), "worse than the supply transducer"),
        (points_file, Reference("?"), "how good the reference gauge is"),
        (points_file, Reference("?", 0.1, 0.1), "in one way"),
        (points_file, Reference("?", 0.0), "must be above zero"),
        (lambda folder: points_file(folder, factor=6.894757), GAUGE, "sensitivity of its data sheet"),
        (lambda folder: points_file(folder, "reference_kg_cm2,supply_v,cylinder_v"), GAUGE, "no column for reference"),
        (lambda folder: points_file(folder, "reference_psi,supply,cylinder_v"), GAUGE, "no column for supply"),
        (lambda folder: folder / "nothing.csv", GAUGE, "cannot be read"),
    ],
)
def test_bad_points_are_refused_and_the_old_calibration_stays(
    config: Path, shop: Workshop, tmp_path: Path, make: Callable[[Path], Path], reference: Reference, words: str
) -> None:
    run_transducers(config, points_file(tmp_path))
    before, files = open_workshop(config).calibration, sorted(shop.folder.iterdir())
    with pytest.raises(BoretightError) as refused:
        run_transducers(config, make(tmp_path), reference)
    assert words in refused.value.what and refused.value.todo
    assert open_workshop(config).calibration == before and sorted(shop.folder.iterdir()) == files


def test_the_bench_must_be_free(config: Path, shop: Workshop) -> None:
    """A daemon holds the database; nothing else may read the board then."""
    shop.config.storage.folder.mkdir()
    with DatabaseLock(shop.config.storage.database, "bench garage"), pytest.raises(StorageError) as refused:
        calibrate_pairing.pairing(config, NO_BOARD, 3, Notes(), 7, False)
    assert "in use by another boretight" in str(refused.value) and "bench garage" in str(refused.value)
    assert "Stop that one first" in refused.value.todo and kept(shop) == []


def test_without_a_board_nothing_is_kept(config: Path, shop: Workshop) -> None:
    with pytest.raises(BoretightError, match="cannot be opened"):
        calibrate_pairing.pairing(config, NO_BOARD, 3, Notes(), 7, False)
    assert kept(shop) == []


# ---- pairing


def stops(bench: Bench, *pressures: float) -> Iterator[Ticks]:
    for bench.supply_psi in pressures:
        yield bench.take(60)


def test_the_pairing_is_the_difference_of_the_transducers(shop: Workshop) -> None:
    bench = Bench()
    plateaus = calibrate_pairing.collect(stops(bench, 20, 60, 100, 40), lambda: bench.board, shop, 3)
    assert [p.supply_pa / PSI for p in plateaus] == pytest.approx([20, 60, 100])
    record = calibrate_pairing.pairing_record(shop, plateaus, bench.board, Notes(), timedelta(days=7))
    found = record.result.pairing
    assert (found.offset_pa / PSI, found.gain) == pytest.approx((0.3, 0.002), rel=1e-6)
    assert record.before_pct == pytest.approx(1.107, abs=2e-3) and record.after_pct < 0.2
    shop.keep(record)
    assert kept(shop) == ["pairing"]


def test_what_is_paired_reads_the_same_on_both_sides(shop: Workshop, config: Path) -> None:
    bench = Bench()
    plateaus = calibrate_pairing.collect(stops(bench, 20, 60, 100), lambda: bench.board, shop, 3)
    shop.keep(calibrate_pairing.pairing_record(shop, plateaus, bench.board, Notes(), timedelta(days=7)))
    bench.supply_psi = 75.0
    still = wait_until_still(bench, open_workshop(config).calibration, 100 * PSI)  # type: ignore[arg-type]
    assert still is not None and still.cylinder_pa == pytest.approx(still.supply_pa, rel=1e-6)


def test_a_second_pairing_tells_the_change(shop: Workshop, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bench = Bench()
    plateaus = calibrate_pairing.collect(stops(bench, 20, 60, 100), lambda: bench.board, shop, 3)
    first = calibrate_pairing.pairing_record(shop, plateaus, bench.board, Notes(), timedelta(days=7))
    kept_one = shop.keep(first)
    second = calibrate_pairing.pairing_record(open_workshop(config), plateaus, bench.board, Notes(), timedelta(days=7))
    assert second.previous == kept_one.id and second.change_pa == pytest.approx(0, abs=1e-6)
    calibrate_pairing.show_pairing(second, shop)
    assert f"since pairing {kept_one.id}" in capsys.readouterr().out


def test_an_open_outlet_is_told_and_then_refused(shop: Workshop, capsys: pytest.CaptureFixture[str]) -> None:
    def leaking() -> Iterator[Ticks]:
        for psi in (50.0, 100.0):
            bench.supply_psi, bench.cylinder_psi = psi, 0.9 * psi
            yield bench.take(60)

    bench = Bench()
    with pytest.raises(DataError, match="grows with the pressure"):
        calibrate_pairing.collect(leaking(), lambda: bench.board, shop, 3)
    assert "Is the air open and the outlet blocked?" in capsys.readouterr().out and kept(shop) == []


def test_air_that_is_opened_late_does_no_harm(shop: Workshop) -> None:
    def late() -> Iterator[Ticks]:
        bench.supply_psi, bench.cylinder_psi = 100.0, 0.0
        yield bench.take(60)
        bench.cylinder_psi = None
        yield from stops(bench, 20, 60, 100)

    bench = Bench()
    assert len(calibrate_pairing.collect(late(), lambda: bench.board, shop, 3)) == 3


def test_a_hose_that_leaks_is_refused(shop: Workshop) -> None:
    bench = Bench(100.0, creep_psi_s=-1.0)
    with pytest.raises(DataError, match="falls by itself"):
        calibrate_pairing.collect(bench, lambda: bench.board, shop, 3)


def test_a_line_that_ends_early_leaves_too_few(shop: Workshop) -> None:
    bench = Bench()
    plateaus = calibrate_pairing.collect(stops(bench, 20, 60), lambda: bench.board, shop, 3)
    with pytest.raises(DataError, match="2 plateaus are too few"):
        calibrate_pairing.pairing_record(shop, plateaus, bench.board, Notes(), timedelta(days=7))


# ---- restrictor and check jet


def jets_file(folder: Path) -> Path:
    path = folder / "jets.csv"
    lines = ["diameter_mm,cd,supply_psi,cylinder_psi"]
    for point, diameter in zip(restrictor().result.points, (0.6, 0.9, 1.2, 1.6, 2.4), strict=True):
        lines.append(f"{diameter},0.8,{point.supply_pa / PSI},{point.cylinder_pa / PSI}")
    path.write_text("\n".join(lines))
    return path


def run_restrictor(config: Path, file: Path) -> None:
    calibrate_restrictor.restrictor(config, file, 2.0, NO_BOARD, Notes(), 12, False)


def test_a_file_of_jets_becomes_the_restrictor_in_force(config: Path, shop: Workshop, tmp_path: Path) -> None:
    run_restrictor(config, jets_file(tmp_path))
    (record,) = read_shelf(shop.folder).records
    assert isinstance(record, RestrictorRecord) and record.u_shared == 0.02
    found = open_workshop(config).calibration.restrictor
    assert found is not None and found.critical_ratio == pytest.approx(0.5, abs=1e-3)
    assert found.u_conductance_m3_s_pa / found.conductance_m3_s_pa > 0.02


def test_a_jet_that_cannot_be_leaves_the_restrictor_as_it_was(config: Path, shop: Workshop, tmp_path: Path) -> None:
    run_restrictor(config, jets_file(tmp_path))
    before, path = open_workshop(config).calibration, jets_file(tmp_path)
    path.write_text(path.read_text().replace("diameter_mm", "diameter_in"))
    with pytest.raises(DataError, match="Jet 1 cannot be"):
        run_restrictor(config, path)
    assert open_workshop(config).calibration == before and kept(shop) == ["restrictor"]


def test_jets_are_measured_as_they_are_named(shop: Workshop, capsys: pytest.CaptureFixture[str]) -> None:
    bench = Bench(100.0, cylinder_psi=89.52)
    person = Person(bench, "0.9 0.8", "9 0.8", "what", "c 7,75", "undo")
    (point,) = calibrate_restrictor.guided(bench, shop, person)  # type: ignore[arg-type]
    assert point.loss_pct == pytest.approx(10.0, abs=0.01) and point.jet == typed_jet("0.9 0.8")
    said = capsys.readouterr().out
    assert "That names no jet" in said and typed_jet("c 7.75").area_m2 == pytest.approx(0.6484e-6, rel=1e-3)


def test_the_check_jet_finds_a_fouled_restrictor(
    config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run_restrictor(config, jets_file(tmp_path))
    capsys.readouterr()
    for cylinder, verdict in ((86.34, "as-calibrated"), (83.0, "smaller"), (89.5, "larger")):
        calibrate_restrictor.check(config, Named(0.9, 0.8), 100.0, cylinder, 2.0, NO_BOARD, True)
        found = json.loads(capsys.readouterr().out)
        assert found["verdict"] == verdict, found


@pytest.mark.parametrize("named", [Named(), Named(0.9), Named(0.9, 0.8, 7.0)])
def test_a_jet_is_named_in_one_way(config: Path, named: Named) -> None:
    with pytest.raises(UsageError, match="in one way"):
        calibrate_restrictor.check(config, named, 100.0, 90.0, 2.0, NO_BOARD, False)


def test_one_pressure_alone_tells_nothing(config: Path) -> None:
    with pytest.raises(UsageError, match="One pressure alone"):
        calibrate_restrictor.check(config, Named(0.9, 0.8), 100.0, None, 2.0, NO_BOARD, False)


def test_the_result_is_json_for_a_program(config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    calibrate_transducers.transducers(config, points_file(tmp_path), None, GAUGE, NO_BOARD, Notes(), 12, True)
    said = capsys.readouterr()
    assert json.loads(said.out)["kind"] == "transducers" and "Kept as" in said.err


def test_new_lines_void_the_pairing_and_say_so(
    config: Path, shop: Workshop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench()
    plateaus = calibrate_pairing.collect(stops(bench, 20, 60, 100), lambda: bench.board, shop, 3)
    shop.keep(calibrate_pairing.pairing_record(shop, plateaus, bench.board, Notes(), timedelta(days=7)))
    run_transducers(config, points_file(tmp_path))
    assert "Next: boretight calibrate pairing" in capsys.readouterr().out
    assert open_workshop(config).calibration.pairing is None
    assert "Pair again" in capsys.readouterr().err
