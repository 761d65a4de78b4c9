"""Whatever is wrong, the error names it and the next step, the exit code tells what kind it is, and nothing is lost."""

from __future__ import annotations

import hashlib
import socket
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from daq.errors import ConfigError, DataError, StorageError, UnavailableError
from tests.end_to_end.bench import Bench, answers
from tests.end_to_end.stored import measured
from tests.suites.brokers import Watcher

SPEED = 20


# ---- the line


def test_a_wrong_port_is_waited_for_and_said(bench: Bench) -> None:
    wrong = bench.folder / "ttyNOBODY"
    daemon = bench.daemon("--port", wrong)
    daemon.until(lambda: answers(bench.mqtt_port), "a broker")
    with Watcher(bench.mqtt_port) as watcher:
        daemon.until(lambda: watcher.on("status"), "a status")
        daemon.until(lambda: watcher.on("status")[-1].json["line_detail"], "its reason")
    status = watcher.on("status")[-1].json
    assert status["line"] == "searching" and str(wrong) in status["line_detail"]
    daemon.until(lambda: "boretight ports" in daemon.said, "advice")
    assert daemon.end() == 0
    assert daemon.said.count(f"The port {wrong} cannot be opened") == 1


def test_a_busy_port_is_said_to_be_so_and_does_not_disturb_who_holds_it(bench: Bench, tmp_path: Path) -> None:
    bench.board("steady", SPEED)
    first = bench.daemon()
    first.until(lambda: "stable_reading" in bench.kinds(), "a reading")
    intruder = Bench(tmp_path / "other")
    intruder.folder.mkdir()
    try:
        second = intruder.daemon("--port", bench.link)
        second.until(lambda: "Another program holds the port" in second.said, "a clear word")
        assert second.end() == 0
    finally:
        intruder.close()
    before = len(measured(bench.database)["reading"])
    first.until(lambda: len(measured(bench.database)["reading"]) > before, "more readings")
    assert first.end() == 0
    assert {"gap", "bad_lines", "restarted"}.isdisjoint(bench.kinds())


# ---- configuration


def test_a_typo_in_the_configuration_names_file_and_key(bench: Bench) -> None:
    config = bench.config
    config.write_text(config.read_text().replace("firing_order", "fireing_order"))
    done = bench.run("run", "--config", config, "--simulate")
    assert (done.returncode, done.stdout) == (ConfigError.exit_code, "")
    assert str(config) in done.stderr
    assert "engine.fireing_order: there is no such key; allowed are " in done.stderr and "firing_order" in done.stderr
    assert not bench.storage.exists()


def test_a_port_of_the_broker_that_is_taken_is_named(bench: Bench) -> None:
    with socket.create_server(("127.0.0.1", bench.mqtt_port)):
        done = bench.run("run", "--config", bench.config, "--simulate")
    assert done.returncode == UnavailableError.exit_code
    assert f"Port {bench.mqtt_port} of this computer is taken" in done.stderr and "mqtt.host" in done.stderr


# ---- storage


def test_a_second_daemon_on_the_same_database_is_refused(bench: Bench) -> None:
    first = bench.daemon("--simulate", "--speed", SPEED)
    first.until(lambda: "stable_reading" in bench.kinds(), "a reading")
    second = bench.run("run", "--config", bench.config, "--simulate")
    assert second.returncode == StorageError.exit_code
    assert f"{bench.database} is in use by another boretight" in second.stderr
    assert f"process {first.pid}" in second.stderr
    assert first.end() == 0
    assert len(bench.rows("SELECT * FROM boot")) == 1


def test_a_database_of_a_newer_version_is_left_as_it_is(bench: Bench) -> None:
    bench.storage.mkdir()
    with closing(sqlite3.connect(bench.database)) as future:
        future.executescript("CREATE TABLE reading (of_tomorrow TEXT); PRAGMA application_id = 1112819540;")
        future.execute("PRAGMA user_version = 99")
    before = _digest(bench.database)
    done = bench.run("run", "--config", bench.config, "--simulate")
    assert done.returncode == StorageError.exit_code
    assert "written by a newer boretight: schema 99" in done.stderr and "Update boretight" in done.stderr
    assert _digest(bench.database) == before
    assert {path.name for path in bench.storage.iterdir()} <= {"boretight.db", "boretight.db.lock", "raw"}


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


# ---- raw logs


@pytest.mark.parametrize("content", ["a letter to the editor\n" * 100, ""], ids=["text", "empty"])
def test_a_file_that_is_no_raw_log_is_refused(bench: Bench, content: str) -> None:
    letter = bench.folder / "letter.btlog"
    letter.write_text(content)
    done = bench.run("replay", letter)
    assert done.returncode == DataError.exit_code
    assert done.stderr.startswith("boretight: This file is no raw log") and ".btlog" in done.stderr


def test_a_raw_log_that_was_cut_gives_all_that_is_there(bench: Bench) -> None:
    daemon = bench.daemon("--simulate", "--speed", SPEED)
    daemon.until(lambda: "stable_reading" in bench.kinds(), "a reading")
    assert daemon.end() == 0
    (log,) = bench.raw_logs
    whole = log.read_bytes()
    log.write_bytes(whole[: len(whole) - 1000])
    done = bench.run("replay", log, "--into", bench.folder / "replayed.db")
    assert done.returncode == 0
    assert "is cut at byte" in done.stderr and "Traceback" not in done.stderr
    stored, replayed = measured(bench.database), measured(bench.folder / "replayed.db")
    assert replayed["stable_reading"] == stored["stable_reading"]
    assert replayed["event"] == stored["event"][: len(replayed["event"])]
