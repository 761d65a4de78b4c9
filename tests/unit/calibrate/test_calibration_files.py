import json
from dataclasses import replace
from pathlib import Path

import pytest

from daq.calibration_files import PairingRecord, lines_id, newest, read, read_shelf, save
from daq.errors import DataError, StorageError, UsageError
from daq.measure.calibration import identified
from daq.records import Calibration
from tests.unit.calibrate.records_of import pairing, restrictor, transducers

BORE_M = 0.001016


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "calibrations"


def all_three(folder: Path, sheets: Calibration) -> Calibration:
    """Saves one of each, as they follow from each other."""
    save(folder, transducers(sheets))
    save(folder, pairing(newest(folder, sheets)))
    save(folder, restrictor())
    return newest(folder, sheets, BORE_M)


# ---- one file


def test_a_record_comes_back_as_it_was(folder: Path, sheets: Calibration) -> None:
    for record in (transducers(sheets), pairing(sheets), restrictor()):
        path, named = save(folder, record)
        assert read(path) == named and len(named.id) == 12
        assert named.model_copy(update={"id": ""}) == record
        json.loads(path.read_text(), parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))


def test_a_file_is_named_by_time_kind_and_content(folder: Path, sheets: Calibration) -> None:
    path, named = save(folder, pairing(sheets, "2026-03-02T12:00:00+02:00"))
    assert path.name == f"20260302T100000Z-pairing-{named.id[:8]}.json"


def test_nothing_is_ever_overwritten(folder: Path, sheets: Calibration) -> None:
    path, _ = save(folder, pairing(sheets))
    before = path.read_bytes()
    with pytest.raises(StorageError):
        save(folder, pairing(sheets))
    assert path.read_bytes() == before and len(list(folder.iterdir())) == 1


def test_a_record_that_was_changed_by_hand_is_no_record(folder: Path, sheets: Calibration) -> None:
    path, _ = save(folder, pairing(sheets))
    path.write_text(path.read_text().replace('"before_pct": 1.14', '"before_pct": 0.14'))
    with pytest.raises(DataError, match="was changed after it was written"):
        read(path)


@pytest.mark.parametrize("text", ["", "{}", '{"kind": "pairing"}', "\xff", '{"kind": "altitude"}'])
def test_what_is_no_record(folder: Path, text: str) -> None:
    folder.mkdir()
    (folder / "x.json").write_text(text)
    with pytest.raises(DataError, match="no calibration record") as refused:
        read(folder / "x.json")
    assert refused.value.todo


def test_a_record_of_a_newer_version_is_left_alone(folder: Path, sheets: Calibration) -> None:
    path, _ = save(folder, pairing(sheets))
    path.write_text(path.read_text().replace('"schema_version": 1', '"schema_version": 2'))
    with pytest.raises(DataError, match="Update boretight"):
        read(path)


# ---- what is in force


def test_without_records_the_data_sheets_are_in_force(folder: Path, sheets: Calibration) -> None:
    assert newest(folder, sheets) == sheets


def test_the_newest_of_each_kind_together(folder: Path, sheets: Calibration) -> None:
    found = all_three(folder, sheets)
    lines, paired, jets = read_shelf(folder).records
    assert found.supply.made_s == lines.made.utc.timestamp() and found.supply.u_zero_pa is not None
    assert found.pairing is not None and found.pairing.pairing_id == paired.id
    assert found.restrictor is not None and found.restrictor.restrictor_id == jets.id
    assert found.origin == f"transducers {lines.id}, pairing {paired.id}, restrictor {jets.id}"
    assert found.date == "2026-03-03" and found.calibration_id != sheets.calibration_id
    assert newest(folder, sheets, BORE_M) == found, "the same content, the same id"


def test_a_newer_record_takes_the_place_of_the_older_which_stays(folder: Path, sheets: Calibration) -> None:
    before = all_three(folder, sheets)
    save(folder, pairing(before, "2026-04-01T10:00:00Z", offset_psi=0.6))
    after = newest(folder, sheets, BORE_M)
    assert after.pairing != before.pairing and after.restrictor == before.restrictor
    assert after.calibration_id != before.calibration_id
    assert len(read_shelf(folder).records) == 4


def test_a_record_made_earlier_but_saved_later_is_not_the_newest(folder: Path, sheets: Calibration) -> None:
    save(folder, pairing(sheets, "2026-03-02T10:00:00Z"))
    save(folder, pairing(sheets, "2026-03-02T10:00:00+05:00", offset_psi=0.9))
    found = newest(folder, sheets)
    assert found.pairing is not None and found.pairing.offset_pa == pytest.approx(0.4 * 6894.757, rel=1e-3)


def test_a_damaged_newest_record_leaves_the_one_before_in_force(folder: Path, sheets: Calibration) -> None:
    before, told = all_three(folder, sheets), []
    path, _ = save(folder, pairing(before, "2026-04-01T10:00:00Z", offset_psi=0.6))
    path.write_text(path.read_text()[:500])
    assert newest(folder, sheets, BORE_M, told.append) == before
    assert len(told) == 1 and str(path) in told[0]


# ---- what does not fit any more


def test_a_pairing_ends_with_the_lines_it_was_made_with(folder: Path, sheets: Calibration) -> None:
    all_three(folder, sheets)
    told: list[str] = []
    save(folder, transducers(sheets, "2026-05-01T10:00:00Z", zero_v=0.52))
    found = newest(folder, sheets, BORE_M, told.append)
    assert found.pairing is None and found.supply.zero_v == pytest.approx(0.52, abs=2e-3)
    assert len(told) == 1 and "Pair again" in told[0]


def test_a_pairing_ends_when_the_configuration_names_another_line(folder: Path, sheets: Calibration) -> None:
    save(folder, pairing(sheets))
    assert newest(folder, sheets).pairing is not None
    assert newest(folder, replace(sheets, date="2026-01-01", origin="new words")).pairing is not None
    assert newest(folder, replace(sheets, supply=replace(sheets.supply, zero_v=0.6))).pairing is None


def test_transducers_of_another_range_or_reference_are_others(folder: Path, sheets: Calibration) -> None:
    save(folder, transducers(sheets))
    wider = replace(sheets.cylinder, full_scale_pa=2 * sheets.cylinder.full_scale_pa)
    told: list[str] = []
    for other in (replace(sheets, cylinder=wider), replace(sheets, reference_v=3.3)):
        assert newest(folder, other, complain=told.append) == identified(other)
    assert ["another range" in told[0], "reference" in told[1]] == [True, True]


def test_another_restrictor_is_not_the_calibrated_one(folder: Path, sheets: Calibration) -> None:
    save(folder, restrictor())
    told: list[str] = []
    assert newest(folder, sheets, 0.0015, told.append).restrictor is None and "another restrictor" in told[0]
    assert newest(folder, sheets, BORE_M).restrictor is not None


def test_the_lines_are_named_by_nothing_but_themselves(sheets: Calibration) -> None:
    assert lines_id(replace(sheets, date="x", origin="y", calibration_id="z")) == lines_id(sheets)
    assert lines_id(replace(sheets, supply=replace(sheets.supply, pa_per_v=1.0))) != lines_id(sheets)


# ---- finding


def test_a_record_is_found_by_the_begin_of_its_id(folder: Path, sheets: Calibration) -> None:
    all_three(folder, sheets)
    shelf = read_shelf(folder)
    record = shelf.newest(PairingRecord)
    assert record is not None and shelf.find(record.id[:6]) == record
    for name in ("", "zzz"):
        with pytest.raises(UsageError, match="have an id that begins"):
            shelf.find(name)
