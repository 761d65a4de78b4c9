"""`boretight report`, `test show`, `history` and `finding`: what they print, write and refuse."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from daq.cli.history import bars
from daq.cli.main import app
from daq.cli.report import file_name
from daq.errors import BoretightError
from daq.procedure.trend import Point
from daq.sinks.store.lock import DatabaseLock
from tests.unit.report.engine_scenes import Scene, sound_four


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "boretight.toml"
    path.write_text(f'[storage]\nfolder = "{tmp_path / "data"}"\n', encoding="utf-8")
    return path


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    return sound_four(tmp_path).write()


def run(scene: Scene, config: Path, *words: object) -> str:
    """What it prints; what it refuses is raised."""
    done = CliRunner().invoke(app, [*map(str, words), "--database", str(scene.path), "--config", str(config)])
    if done.exception is not None:
        raise done.exception
    return done.stdout


def test_a_report_without_a_format_is_a_page_next_to_the_database(scene: Scene, config: Path) -> None:
    path = scene.folder / "spring.html"
    assert run(scene, config, "report").split() == [str(path)]
    assert "invented four" in path.read_text(encoding="utf-8")


def test_each_format_goes_where_it_is_asked_for(scene: Scene, config: Path, tmp_path: Path) -> None:
    names = {name: tmp_path / "out" / f"a.{name}" for name in ("html", "pdf", "png", "csv", "json")}
    asked = [word for name, path in names.items() for word in (f"--{name}", path)]
    assert run(scene, config, "report", "spring", *asked).split() == [str(path) for path in names.values()]
    begins = {name: path.read_bytes()[:4] for name, path in names.items()}
    assert begins == {"html": b"<!DO", "pdf": b"%PDF", "png": b"\x89PNG", "csv": b"cyli", "json": b'{"sc'}
    assert not (scene.folder / "spring.html").exists()


def test_figures_can_be_printed(scene: Scene, config: Path) -> None:
    assert json.loads(run(scene, config, "report", "--json", "-"))["test"] == "spring"


@pytest.mark.parametrize(
    "wrong", [["--units", "furlong"], ["--limits", "mine"], ["--paper", "a9"], ["autumn"]], ids=lambda words: words[-1]
)
def test_what_there_is_not_is_refused_by_name(scene: Scene, config: Path, wrong: list[str]) -> None:
    with pytest.raises(BoretightError, match=wrong[-1]) as error:
        run(scene, config, "report", *wrong)
    assert error.value.exit_code == 64 and error.value.todo


def test_a_test_in_the_terminal_says_what_the_report_says(scene: Scene, config: Path) -> None:
    shown = run(scene, config, "test", "show")
    assert "Put it back together" in shown and "19.00 ±" in shown and "1: better" in shown
    figures = json.loads(run(scene, config, "test", "show", "--json"))
    assert figures["advice"] in shown and figures["verdict"] == "sound"


def test_the_history_of_an_engine_in_words_and_as_json(scene: Scene, config: Path) -> None:
    shown = run(scene, config, "history", "invented four")
    assert "tests by date, 1" in shown and "Too few readings for a trend (1)" in shown
    found = json.loads(run(scene, config, "history", "invented four", "--json"))
    assert sorted(found["courses"]) == ["1", "2", "3", "4"] and found["courses"]["2"]["direction"] == "too-few"
    with pytest.raises(BoretightError, match="no axis 'moons'"):
        run(scene, config, "history", "invented four", "--axis", "moons")


def test_the_key_of_a_profile_means_the_name_in_it(tmp_path: Path, config: Path) -> None:
    scene = sound_four(tmp_path, profile={"name": "invented inline four", "firing_order": "1-3-4-2"}).write()
    assert "invented inline four: tests" in run(scene, config, "history", "inline-four")


def test_bars_grow_with_the_values() -> None:
    assert bars([Point(0, value, 0.1) for value in (0.0, 0.5, 1.0)]) == "▁▅█"
    assert bars([Point(0, 0.0, 0.1)]) == "▁"


def test_the_name_of_a_test_becomes_one_of_a_file() -> None:
    assert [file_name(name) for name in ("../a b/c", "größe-4", "..")] == ["a-b-c", "größe-4", "test"]


# ---- findings afterwards


def test_a_finding_added_afterwards_counts_and_keeps_its_day(scene: Scene, config: Path) -> None:
    assert "finding 1" in run(scene, config, "finding", "add", "last", "2: exhaust faint after <b>taps</b>")
    assert "finding 2" in run(scene, config, "finding", "add", "spring", "3: crankcase none")
    assert [(each.cylinder, each.note) for each in scene.record().heard] == [(2, "after <b>taps</b>"), (3, "")]
    shown = run(scene, config, "finding", "list")
    assert "after the test" in shown and "a little air at the exhaust" in shown
    listed = json.loads(run(scene, config, "finding", "list", "--json"))
    assert [(each["number"], each["counts"]) for each in listed["findings"]] == [(1, True), (2, True)]


def test_a_finding_taken_back_stays_listed_and_does_not_count(scene: Scene, config: Path) -> None:
    run(scene, config, "finding", "add", "last", "2: exhaust")
    run(scene, config, "finding", "add", "last", "2: intake")
    assert "does not count" in run(scene, config, "finding", "take-back", "last", "1")
    assert [each.place.value for each in scene.record().heard] == ["intake"]
    assert "(taken back, does not count)" in run(scene, config, "finding", "list")
    assert len(scene.rows("SELECT * FROM event WHERE kind = 'withdrawn'")) == 1
    for number in ("1", "3"):
        with pytest.raises(BoretightError, match=f"no finding {number} that counts"):
            run(scene, config, "finding", "take-back", "last", number)
    assert "finding 3" in run(scene, config, "finding", "add", "last", "2: exhaust")


def test_its_event_lies_on_the_clock_of_the_test(scene: Scene, config: Path) -> None:
    run(scene, config, "finding", "add", "last", "2: exhaust")
    rows = scene.rows("SELECT t_s, t_utc, boot_id, segment FROM event WHERE kind IN ('test_started', 'finding')")
    started, added = rows
    apart_s = datetime.fromisoformat(added["t_utc"]).timestamp() - datetime.fromisoformat(started["t_utc"]).timestamp()
    assert added["t_s"] - started["t_s"] == pytest.approx(apart_s, abs=1e-3)
    assert (added["boot_id"], added["segment"]) == (started["boot_id"], started["segment"])


@pytest.mark.parametrize(
    ("said", "wrong"),
    [
        ("exhaust", "Which cylinder"),
        ("9: exhaust", "no cylinder 9"),
        ("2: next 7", "no cylinder 7"),
        ("2: roof", "Where was it heard"),
    ],
)
def test_a_finding_without_sense_is_refused_and_not_kept(scene: Scene, config: Path, said: str, wrong: str) -> None:
    with pytest.raises(BoretightError, match=wrong):
        run(scene, config, "finding", "add", "last", said)
    assert scene.rows("SELECT * FROM finding") == scene.rows("SELECT * FROM event WHERE kind = 'finding'") == []


def test_a_running_test_is_told_by_the_bench_itself(tmp_path: Path, config: Path) -> None:
    scene = Scene(tmp_path)
    scene.cylinder(1, 5.0)
    scene.write()
    with DatabaseLock(scene.path, "a bench"), pytest.raises(BoretightError, match="a bench is running"):
        run(scene, config, "finding", "add", "last", "1: exhaust")
    assert "finding 1" in run(scene, config, "finding", "add", "last", "1: exhaust")
