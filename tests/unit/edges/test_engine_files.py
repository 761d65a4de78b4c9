"""Engine profiles on disk: units, mistakes, and that nothing is ever lost."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq import engine_files
from daq.engine_sheet import LENGTHS, VOLUMES, checked, in_si, read, shipped
from daq.errors import DataError, StorageError, UsageError
from daq.procedure.engine import LARGE_RESTRICTOR_M, Layout

FOUR: dict[str, Any] = {"firing_order": "1-3-4-2", "layout": "inline", "bore": "3.5 in", "stroke": "86 mm"}


def test_those_shipped_are_sound_and_of_many_kinds(tmp_path: Path) -> None:
    found = {listed.key: listed.profile for listed in engine_files.list_engines(tmp_path)}
    profiles = {key: profile for key, profile in found.items() if profile is not None}
    assert set(profiles) == set(shipped()) >= {"inline-four", "v8", "flat-six", "single"}
    assert all("invented" in profile.name and profile.geometry for profile in profiles.values())
    assert {profile.layout for profile in profiles.values()} >= {Layout.INLINE, Layout.VEE, Layout.FLAT, Layout.SINGLE}
    assert profiles["v-twin"].firing_intervals_deg == (315, 405)
    assert profiles["flat-six"].restrictor_m == LARGE_RESTRICTOR_M
    assert not profiles["two-stroke-twin"].valves and profiles["single"].valves


@pytest.mark.parametrize(
    ("text", "units", "si"),
    [
        ("86 mm", LENGTHS, 0.086),
        ("3.5 in", LENGTHS, 0.0889),
        ("3.5in", LENGTHS, 0.0889),
        ("8,6 cm", LENGTHS, 0.086),
        (" .5 in ", LENGTHS, 0.0127),
        ("49 cm3", VOLUMES, 49e-6),
        ("3 in3", VOLUMES, 3 * 16.387064e-6),
    ],
)
def test_numbers_with_their_unit(text: str, units: dict[str, float], si: float) -> None:
    assert in_si(text, units) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize("text", ["86", "mm", "86 furlong", "8 6 mm", "-86 mm", "86 mm3", "1e3 mm", "", "86 MM"])
def test_what_is_no_length_says_what_is(text: str) -> None:
    with pytest.raises(ValueError, match="number with its unit, one of mm, cm, m, in"):
        in_si(text, LENGTHS)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"firing_order": "1-3-3-2"}, "firing_order: must name each of 1 to 16 cylinders exactly once"),
        ({"firing_order": "one"}, "firing_order: must name"),
        ({"bore": "3.5"}, "bore: must be a number with its unit, one of mm, cm, m, in (it is '3.5')"),
        ({"bore": 86}, "bore: must be a number with its unit, one of mm, cm, m, in (it is 86)"),
        ({"bores": "86 mm"}, "bores: there is no such key; allowed are name, firing_order"),
        ({"layout": "boxer"}, "layout: Input should be 'single', 'inline', 'vee'"),
        ({"strokes": 3}, "strokes: Input should be 2 or 4"),
        ({"cylinders": 6}, "cylinders = 6, but the firing order names 4"),
        ({"banks": ["1-2", "x"]}, "banks: each bank must name its cylinders"),
        ({"stroke": "9 m", "rod": "1 in"}, "stroke must lie between 10 and 2000 mm"),
        ({"rod": "40 mm"}, "rod must be longer than half of the stroke"),
        ({"intervals_deg": [90, 90]}, "as many firing intervals as cylinders"),
        ({"set_point": "80"}, "set_point: must be a number with its unit, one of psi, kPa, bar"),
    ],
)
def test_a_mistake_names_the_key_and_keeps_the_old_one(tmp_path: Path, change: dict[str, Any], words: str) -> None:
    path = engine_files.add(tmp_path, "van", FOUR)
    before = path.read_text()
    with pytest.raises(DataError) as caught:
        engine_files.keep(tmp_path, "van", engine_files.as_toml({**FOUR, **change}))
    assert words in str(caught.value) and "nothing was changed" in str(caught.value)
    assert path.read_text() == before and not engine_files.archived(tmp_path)
    assert [file.name for file in tmp_path.iterdir()] == ["van.toml"]


def test_text_that_is_no_toml_keeps_the_old_one(tmp_path: Path) -> None:
    path = engine_files.add(tmp_path, "van", FOUR)
    with pytest.raises(DataError, match="nothing was changed"):
        engine_files.keep(tmp_path, "van", "bore = ")
    assert tomllib.loads(path.read_text()) == FOUR


def test_without_a_name_the_key_is_the_name_and_the_order_of_a_single_may_be_a_number(tmp_path: Path) -> None:
    engine_files.add(tmp_path, "pump", {"firing_order": 1, "strokes": 2})
    profile = engine_files.load_engine(tmp_path, "pump")
    assert (profile.name, profile.firing_order, profile.valves) == ("pump", (1,), False)


def test_ones_own_goes_before_that_which_is_shipped(tmp_path: Path) -> None:
    engine_files.add(tmp_path, "v8", {**FOUR, "name": "mine"})
    assert engine_files.load_engine(tmp_path, "v8").name == "mine"
    assert [listed.own for listed in engine_files.list_engines(tmp_path) if listed.key == "v8"] == [True]
    engine_files.put_away(tmp_path, "v8")
    assert engine_files.load_engine(tmp_path, "v8").cylinders == 8


def test_the_old_one_and_the_removed_one_are_kept(tmp_path: Path) -> None:
    first = engine_files.add(tmp_path, "van", FOUR).read_text()
    second = engine_files.changed(first, {"bore": "90 mm"})
    engine_files.keep(tmp_path, "van", second)
    engine_files.keep(tmp_path, "van", second)
    kept = engine_files.put_away(tmp_path, "van")
    assert kept.read_text() == second
    assert [path.read_text() for path in engine_files.archived(tmp_path)] == [first, second]
    assert engine_files.add(tmp_path, "van", read(kept)).exists()


def test_a_file_that_is_wrong_is_listed_with_its_complaint_and_can_be_put_away(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("bore = 3\n")
    (tmp_path / "worse.toml").write_text("bore = \n")
    listed = {engine.key: engine for engine in engine_files.list_engines(tmp_path)}
    assert "bad.toml is no engine profile" in listed["bad"].complaint and "firing_order" in listed["bad"].complaint
    assert listed["worse"].profile is None and "worse.toml" in listed["worse"].complaint
    assert engine_files.put_away(tmp_path, "worse").read_text() == "bore = \n"


def test_what_cannot_be_asked(tmp_path: Path) -> None:
    engine_files.add(tmp_path, "van", {**FOUR, "name": "the van"})
    for refused in (
        lambda: engine_files.add(tmp_path, "van", FOUR),
        lambda: engine_files.add(tmp_path, "Van/../x", FOUR),
        lambda: engine_files.add(tmp_path, "bus", {**FOUR, "name": "the van"}),
        lambda: engine_files.put_away(tmp_path, "v8"),
        lambda: engine_files.load_engine(tmp_path, "../van"),
    ):
        with pytest.raises(UsageError):
            refused()


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="Cannot write the profile"):
        engine_files.add(tmp_path / "file" / "engines", "van", FOUR)


def test_a_change_leaves_comments_and_order_alone() -> None:
    before = '# mine\nname = "van"\nbore = "86 mm"  # measured\nfiring_order = "1-3-4-2"'
    after = engine_files.changed(before, {"bore": "87 mm", "strokes": 4})
    assert after == '# mine\nname = "van"\nbore = "87 mm"\nfiring_order = "1-3-4-2"\nstrokes = 4\n'
    assert engine_files.changed(after, {"bore": None}).splitlines()[1:3] == ['name = "van"', 'firing_order = "1-3-4-2"']


def test_a_key_over_several_lines_is_changed_as_well() -> None:
    before = 'firing_order = "1-2-3-4"\nbanks = [\n  "1-3",\n  "2-4",\n]\n'
    assert tomllib.loads(engine_files.changed(before, {"banks": ["1-2", "3-4"]})) == {
        "firing_order": "1-2-3-4",
        "banks": ["1-2", "3-4"],
    }


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("3.5 in", "3.5 in"), ('"3.5 in"', "3.5 in"), ("2", 2), ("true", True), ("1-3-4-2", "1-3-4-2"),
        ("[315, 405]", [315, 405]), ("315 405", "315 405"), ("", None), ("  ", None),
    ],
)  # fmt: skip
def test_values_as_a_person_writes_them(written: str, value: object) -> None:
    assert engine_files.value_of(written) == value


def test_lists_may_be_written_as_words() -> None:
    sheet = checked({"name": "t", "firing_order": "1-2", "banks": "1 2", "intervals_deg": "315 405"}, "here")
    profile = sheet.profile_record()
    assert (profile.banks, profile.intervals_deg) == (((1,), (2,)), (315.0, 405.0))


@given(st.text(max_size=40), st.dictionaries(st.sampled_from(["bore", "notes", "strokes"]), st.text(max_size=20)))
def test_any_text_comes_back_from_toml(name: str, values: dict[str, str]) -> None:
    whole = {"name": name, **values}
    assert tomllib.loads(engine_files.as_toml(whole)) == whole
    assert tomllib.loads(engine_files.changed(engine_files.as_toml(whole), {"notes": name})) == {**whole, "notes": name}
