"""kill -9 in the middle of a test of an engine, and a start after it."""

from __future__ import annotations

import json
import signal
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import psutil

from daq.sinks.raw_log import read_raw_log
from daq.sinks.raw_log_reader import Ended
from tests.end_to_end.bench import PATIENCE_S, Bench, answers
from tests.end_to_end.stored import measured
from tests.suites.brokers import Mosquitto, Watcher, until

SPEED = 20


def test_what_was_committed_is_kept_and_announced(mosquitto_bench: Bench, mosquitto: Mosquitto) -> None:
    bench = mosquitto_bench
    killed = bench.daemon()
    with Watcher(mosquitto.port, "--disable-clean-session", "--id", "stranger") as watcher:
        bench.board(bench.lasting("four-cylinder"), SPEED)
        killed.until(lambda: len(bench.results()) == 1, "a first result")
        mosquitto.stop()
        killed.until(lambda: len(bench.results()) == 2, "a second one, of which nobody heard")
        committed = _tables(bench)
        killed.end(signal.SIGKILL)
        mosquitto.start()
        after = bench.daemon()
        after.until(lambda: len(_runs_of(bench, "event")) == 2, "events of a second run")
        after.until(lambda: not _waiting(bench), "an empty outbox")
        assert after.end() == 0
        until(lambda: watcher.bodies("availability")[-1:] == ["offline"], "offline")

    for table, rows in committed.items():
        assert rows and _tables(bench)[table][: len(rows)] == rows, table
    _everything_was_announced_in_order(bench, watcher)


def test_the_test_of_the_engine_goes_on_where_it_was(bench: Bench) -> None:
    """Hands-free: nobody tells the second run which cylinder is on the hose. After a proper end the next run is new."""
    killed = bench.daemon()
    bench.board(bench.lasting("four-cylinder"), 4)
    killed.until(lambda: len(bench.results()) == 1, "a first result")
    killed.end(signal.SIGKILL)
    after = bench.daemon()
    after.until(lambda: len(bench.results()) == 2, "a second result")
    assert after.end() == 0
    assert [result["cylinder"] for result in bench.results()] == [1, 3]
    assert abs(bench.results()[1]["as_found_loss_at_set_pct"] - 28.0) < 1.5
    again = bench.daemon()
    again.until(lambda: bool(_sessions(bench, 3)), "a session of the third run")
    assert again.end() == 0
    assert _sessions(bench, 3)[0]["cylinder"] == 1


def _sessions(bench: Bench, boot_id: int) -> Sequence[dict[str, Any]]:
    return bench.rows("SELECT cylinder FROM event WHERE kind = 'session' AND boot_id = ? ORDER BY id", boot_id)


def _tables(bench: Bench) -> dict[str, list[dict[str, Any]]]:
    """What must not be lost. (Blocks of samples may be joined, and outbox marks set, by a run that goes on.)"""
    order = "ORDER BY id"
    events = "SELECT id, boot_id, t_s, t_utc, kind, detail, stream, seq, body FROM event"
    return {
        "event": bench.rows(f"{events} {order}"),
        "stable_reading": bench.rows(f"SELECT * FROM stable_reading {order}"),
        "cylinder_result": bench.rows(f"SELECT * FROM cylinder_result {order}"),
        "reading": bench.rows(f"SELECT * FROM reading {order}"),
    }


def _waiting(bench: Bench) -> list[dict[str, Any]]:
    return bench.rows("SELECT id FROM event WHERE body IS NOT NULL AND announced_utc IS NULL")


def _everything_was_announced_in_order(bench: Bench, watcher: Watcher) -> None:
    """At least once, in the order of storing once doubles are dropped; and one identity never names two messages."""
    for stream in ("event", "reading"):
        stored = [row["body"] for row in bench.rows("SELECT body FROM event WHERE stream = ? ORDER BY id", stream)]
        assert list(dict.fromkeys(watcher.bodies(stream))) == stored
        identities = {_identity(body) for body in stored}
        assert len(identities) == len(stored)


def _identity(body: str) -> tuple[str, str, int]:
    message = json.loads(body)
    return message["bench"], message["boot"], message["seq"]


def test_the_raw_log_of_a_killed_run_gives_what_had_been_stored(bench: Bench, tmp_path: Path) -> None:
    daemon = bench.daemon()
    bench.board("four-cylinder", SPEED)
    daemon.until(lambda: len(bench.results()) == 1, "a result")
    daemon.end(signal.SIGKILL)

    (path,) = bench.raw_logs
    log = read_raw_log(path)
    assert list(log)
    assert (log.info.ended, log.info.lost_inputs, log.info.damaged) == (Ended.OPEN, 0, [])
    assert bench.run("replay", path, "--into", tmp_path / "replayed.db").returncode == 0
    stored, replayed = measured(bench.database), measured(tmp_path / "replayed.db")
    for table in ("event", "stable_reading", "cylinder_result", "reading"):
        assert stored[table] and replayed[table][: len(stored[table])] == stored[table], table


def test_nothing_is_left_of_a_killed_daemon_and_it_starts_again(bench: Bench) -> None:
    """With a board and a broker of its own."""
    killed = bench.daemon("--simulate", "--speed", SPEED)
    killed.until(lambda: "stable_reading" in bench.kinds(), "a reading")
    children = psutil.Process(killed.pid).children(recursive=True)
    assert len(children) == 2, "a board and a broker"
    killed.end(signal.SIGKILL)
    assert psutil.wait_procs(children, PATIENCE_S)[1] == []

    again = bench.daemon("--simulate", "--speed", SPEED)
    again.until(lambda: answers(bench.mqtt_port), "a broker on the same port")
    with Watcher(bench.mqtt_port) as watcher:
        again.until(lambda: _is_up(watcher), "a line that is up")
        again.until(lambda: len(_runs_of(bench, "stable_reading")) == 2, "a reading of the second run")
    assert again.end() == 0


def _is_up(watcher: Watcher) -> bool:
    return any(message.json["line"] == "up" for message in watcher.on("status"))


def _runs_of(bench: Bench, table: str) -> list[dict[str, Any]]:
    return bench.rows(f"SELECT DISTINCT boot_id FROM {table}")
