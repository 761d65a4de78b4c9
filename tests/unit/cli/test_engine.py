"""`boretight engine ...`, as a person and as a program see it."""

from __future__ import annotations

import json
import sqlite3
import sys
from pathlib import Path
from typing import Any

import pytest

from daq.cli.engine_profiles import asked
from daq.cli.main import main
from daq.procedure.crank_geometry import RESISTANCE_CAUTION
from daq.sinks.store.connection import open_for_writing


class Bench:
    """A configuration of its own, and the command line on it."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self._patch, self._capsys = folder, patch, capsys
        self.engines = folder / "engines"
        self.config = folder / "bench.toml"
        self.config.write_text(f'[storage]\nfolder = "{folder}"\n')

    def say(self, *words: str) -> tuple[int, str, str]:
        """Exit code, standard output, standard error."""
        self._patch.setattr("sys.argv", ["boretight", "engine", *words, "--config", str(self.config)])
        code: Any = 0
        try:
            main()
        except SystemExit as ended:
            code = ended.code or 0
        said = self._capsys.readouterr()
        return code, said.out, said.err

    def done(self, *words: str) -> str:
        code, out, err = self.say(*words)
        assert code == 0, err
        return out


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Bench:
    for name in ("VISUAL", "EDITOR"):
        monkeypatch.delenv(name, raising=False)
    return Bench(tmp_path, monkeypatch, capsys)


def test_from_made_to_put_away_and_back(bench: Bench) -> None:
    bench.done("add", "van", "--like", "inline-four", "--bore", "3.5 in", "--set", "rod=5.7 in", "--name", "the van")
    assert "the van" in bench.done("list") and "88.90 mm (3.500 in)" in bench.done("show", "van")
    bench.done("edit", "van", "--set", "stroke=92 mm", "--set", "compression_ratio=")
    shown = json.loads(bench.done("show", "van", "--json"))
    assert shown["stroke_m"] == pytest.approx(0.092) and shown["compression_ratio"] is None
    gone = json.loads(bench.done("remove", "van", "--json"))
    assert gone["stable_readings"] == 0 and bench.say("show", "van")[0] == 64
    bench.done("add", "van", "--like", gone["archived"])
    again = json.loads(bench.done("show", "van", "--json"))
    assert again == {**shown, "name": "van"}
    assert len(json.loads(bench.done("list", "--json"))["archived"]) == 2


def test_readings_of_a_removed_engine_are_counted_and_kept(bench: Bench) -> None:
    bench.done("add", "van", "--firing-order", "1-2", "--name", "the van")
    database = bench.folder / "boretight.db"
    open_for_writing(database).close()
    connection = sqlite3.connect(database)
    connection.execute("PRAGMA foreign_keys = OFF")
    for number, engine in enumerate(("the van", "another", "the van")):
        connection.execute(
            "INSERT INTO stable_reading"
            " (event_id, boot_id, segment, t_s, t_utc, engine, phase, window_s, calibration_id)"
            " VALUES (?, 1, 1, 0, '2026-11-25', ?, 'as-found', 1, 'x')",
            [number, engine],
        )
    connection.commit()
    connection.close()
    said = bench.done("remove", "van")
    assert "2 stable readings of it stay in the database" in said
    assert not (bench.engines / "van.toml").exists()


def test_a_wrong_change_changes_nothing(bench: Bench) -> None:
    bench.done("add", "van", "--firing-order", "1-2", "--bore", "86 mm")
    before = (bench.engines / "van.toml").read_text()
    code, _, err = bench.say("edit", "van", "--set", "bore=86")
    assert code == 65 and "bore: must be a number with its unit" in err
    assert bench.say("edit", "van", "--set", "bore")[0] == 64
    assert bench.say("edit", "van")[0] == 64  # no editor
    assert bench.say("add", "van", "--firing-order", "1-2")[0] == 64
    assert (bench.engines / "van.toml").read_text() == before


def test_nothing_said_makes_nothing(bench: Bench) -> None:
    code, _, err = bench.say("add", "van")
    assert code == 65 and "firing_order: Field required" in err and not bench.engines.exists()


def editor(folder: Path, code: str) -> str:
    script = folder / "edit.py"
    script.write_text(f"import pathlib, sys\npath = pathlib.Path(sys.argv[-1])\ntext = path.read_text()\n{code}\n")
    return f"{sys.executable} {script}"


def test_in_an_editor(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EDITOR", editor(bench.folder, "path.write_text(text.replace('4.00 in', '4.10 in'))"))
    bench.done("edit", "v8")
    assert json.loads(bench.done("show", "v8", "--json"))["bore_m"] == pytest.approx(4.1 * 0.0254)
    assert (bench.engines / "v8.toml").read_text().startswith("# An invented engine")
    assert "Nothing was changed" in bench.done("edit", "v8")


def test_what_was_written_in_an_editor_is_not_lost_by_a_mistake(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EDITOR", editor(bench.folder, "path.write_text('bore = 1')"))
    code, _, err = bench.say("edit", "v8")
    assert code == 65 and not bench.engines.exists()
    draft = Path(err.split("also in ")[1].split("\n")[0].rstrip("."))
    assert draft.read_text() == "bore = 1"
    draft.unlink()
    draft.parent.rmdir()


def test_an_editor_that_fails_changes_nothing(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EDITOR", editor(bench.folder, "sys.exit(3)"))
    code, _, err = bench.say("edit", "v8")
    assert code == 64 and "nothing was changed" in err and not bench.engines.exists()


def test_question_by_question(capsys: pytest.CaptureFixture[str]) -> None:
    answers = {"Firing": "1-2", "Bore": "70 mm", "Strokes": "2"}
    found = asked("pump", lambda question: next((a for q, a in answers.items() if question.startswith(q)), ""))
    known = {word: value for word, value in found.items() if value is not None}
    assert known == {"name": "pump", "firing_order": "1-2", "bore": "70 mm", "strokes": 2}


def test_a_missing_profile_in_the_configuration_does_not_keep_one_from_making_it(bench: Bench) -> None:
    with bench.config.open("a") as file:
        file.write('[engine]\nprofile = "van"\n')
    bench.done("add", "van", "--firing-order", "1-2-3")
    assert "van" in bench.done("list")


def test_a_bad_file_does_not_hide_the_others(bench: Bench) -> None:
    bench.engines.mkdir()
    (bench.engines / "bad.toml").write_text("bore = 3\n")
    code, out, err = bench.say("list")
    assert code == 0 and "cannot be read" in out and "inline-four" in out and "bad.toml" in err
    assert bench.say("show", "bad")[0] == 65


class TestTdc:
    def test_turns_tolerance_and_caution(self, bench: Bench) -> None:
        said = bench.done("tdc", "v8")
        assert "90 on to cylinder 8" in said and "5.0 lbf ft (6.8 N m), assumed" in said
        assert f"CAUTION: {RESISTANCE_CAUTION}" in said
        assert "it comes 9 degrees too early" in said and "boretight engine sweep v8" in said

    def test_for_a_program(self, bench: Bench) -> None:
        bench.done("add", "eight", "--like", "v8", "--stroke", "3.62 in", "--rod", "6.1 in")
        found = json.loads(bench.done("tdc", "eight", "--resistance", "10", "--json"))
        assert [step["also_at_top"] for step in found["steps"]] == [[6], [5], [7], [2], [1], [8], [4], [3]]
        assert [row["tolerable_deg"] for row in found["tolerances"]] == pytest.approx([11.790, 4.671, 2.332], abs=1e-3)
        assert found["resistance_assumed"] is False

    def test_the_set_point_of_the_engine_goes_before_that_of_the_bench(self, bench: Bench) -> None:
        bench.done("add", "van", "--like", "inline-four", "--set", "set_point=80 psi")
        assert "80.0 psi" in bench.done("tdc", "van")

    def test_without_lengths_it_says_what_is_missing(self, bench: Bench) -> None:
        bench.done("add", "van", "--firing-order", "1-3-2", "--layout", "inline")
        said = bench.done("tdc", "van")
        assert "240 on to cylinder 3" in said and "needs bore, stroke and rod" in said and "CAUTION" in said
