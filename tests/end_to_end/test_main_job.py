"""The main job: bytes of a pseudo-terminal in, percent loss out, to a broker and into a database; and its replay."""

from __future__ import annotations

import json
import signal
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from simulator.scenario import load
from simulator.truth import truth
from tests.end_to_end.bench import Bench, answers
from tests.end_to_end.stored import measured, the_whole_engine
from tests.suites.broker_suite import _conforms as conforms
from tests.suites.brokers import Mosquitto, Seen, Watcher, until

SPEED = 20
STATE = {"availability", "status", "describe", "session"}


@dataclass
class Run:
    """A test of a whole engine from the start of the daemon to SIGTERM, as a client of the broker saw it."""

    bench: Bench
    code: int
    said: str
    watcher: Watcher
    without_board: list[Seen]
    keeps_qos: bool


@pytest.fixture(scope="module", params=["mosquitto", "embedded"])
def run(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    folder = tmp_path_factory.mktemp(request.param)
    broker = Mosquitto(folder) if request.param == "mosquitto" else None
    if broker is not None:
        broker.start()
    bench = Bench(folder, broker)
    try:
        yield _played(bench)
    finally:
        bench.close()
        if broker is not None:
            broker.stop()


def _played(bench: Bench) -> Run:
    daemon = bench.daemon()
    daemon.until(lambda: answers(bench.mqtt_port), "a broker")
    with Watcher(bench.mqtt_port) as watcher:
        daemon.until(lambda: _says(watcher, "searching"), "a status without board")
        daemon.until(lambda: watcher.bodies("availability"), "that it is there")  # retained ones come in any order
        without_board = list(watcher.seen)
        bench.board("four-cylinder", SPEED)
        daemon.until(lambda: "test_done" in bench.kinds(), "the end of the test")
        daemon.until(lambda: not _waiting(bench), "an empty outbox")
        code = daemon.end(signal.SIGTERM)
        until(lambda: watcher.bodies("availability")[-1:] == ["offline"], "offline")
    return Run(bench, code, daemon.said, watcher, without_board, keeps_qos=bench.broker is not None)


def _says(watcher: Watcher, line: str) -> bool:
    return any(message.json["line"] == line for message in watcher.on("status"))


def _waiting(bench: Bench) -> list[dict[str, object]]:
    return bench.rows("SELECT id FROM event WHERE body IS NOT NULL AND announced_utc IS NULL")


# ---- what is stored


def test_each_loss_is_what_the_simulator_knows(run: Run) -> None:
    the_whole_engine(run.bench.results())


def test_nothing_of_the_line_was_lost(run: Run) -> None:
    stored = measured(run.bench.database)
    assert sum(block["n"] for block in stored["sample_block"]) > 50 * 200
    assert {"gap", "bad_lines", "restarted", "board_fault"}.isdisjoint(row["kind"] for row in stored["event"])


def test_it_ends_cleanly_when_it_is_told_to(run: Run) -> None:
    assert (run.code, "Traceback" in run.said) == (0, False)
    assert run.bench.rows("SELECT * FROM boot WHERE ended_utc IS NULL") == []


# ---- what is published


def test_every_message_is_as_the_contract_says(run: Run) -> None:
    names = {message.topic.split("/", 3)[3] for message in run.watcher.seen}
    of_each = {f"{name}/{cylinder}" for name in ("last", "verdict") for cylinder in (1, 2, 3, 4)}
    assert names == STATE | {"live", "reading", "event"} | of_each
    for message in run.watcher.seen:
        conforms(message, run.keeps_qos)


def test_it_is_online_from_the_start_and_offline_after_the_end(run: Run) -> None:
    assert {message.body for message in run.without_board if message.topic.endswith("availability")} == {"online"}
    *while_it_ran, after = run.watcher.bodies("availability")
    assert (set(while_it_ran), after) == ({"online"}, "offline")


def test_without_a_board_it_says_which_one_it_waits_for(run: Run) -> None:
    status = [message.json for message in run.without_board if message.topic.endswith("status")][-1]
    assert (status["line"], status["newest_sample_age_s"]) == ("searching", None)
    assert str(run.bench.link) in status["line_detail"]
    assert f"The port {run.bench.link} cannot be opened" in run.said


def test_the_status_follows_the_line(run: Run) -> None:
    lines = [message.json["line"] for message in run.watcher.on("status")]
    assert list(dict.fromkeys(lines))[:2] == ["searching", "up"]
    up = next(message.json for message in run.watcher.on("status") if message.json["line"] == "up")
    assert (up["faults"], up["line_detail"]) == ("", "")


def test_what_is_stored_is_what_was_announced_in_the_same_order(run: Run) -> None:
    """What was stored after the request to end may have to wait for the next start."""
    for stream in ("event", "reading"):
        query = "SELECT kind, body FROM event WHERE stream = ? ORDER BY id"
        stored = [row["body"] for row in run.bench.rows(query, stream) if row["kind"] != "link_change"]
        heard = [body for body in run.watcher.bodies(stream) if '"kind":"link-' not in body]
        assert len(stored) >= 8
        assert heard == stored


def test_the_last_reading_of_each_cylinder_is_kept(run: Run) -> None:
    for cylinder in (1, 2, 3, 4):
        readings = [body for body in run.watcher.bodies("reading") if json.loads(body)["cylinder"] == cylinder]
        assert run.watcher.bodies(f"last/{cylinder}") == readings


def test_the_verdicts_that_are_kept_are_those_of_the_report(run: Run) -> None:
    """Of both readings; the report works them out anew from what is stored."""
    shown = run.bench.run("test", "show", "last", "--json", "--config", run.bench.config)
    reported = {each["cylinder"]: each for each in json.loads(shown.stdout)["cylinders"]}
    for cylinder in (1, 2, 3, 4):
        *_, kept = (message.json for message in run.watcher.on(f"verdict/{cylinder}"))
        assert kept["verdict"] == (kept["after_tap_verdict"] or kept["as_found_verdict"]), cylinder
        assert kept["verdict"] == reported[cylinder]["verdict"], cylinder
        assert kept["probability"] == pytest.approx(reported[cylinder]["probability"], abs=1e-6)
    first, last = (run.watcher.on("verdict/4")[place].json for place in (0, -1))
    assert (first["verdict"], first["after_tap_verdict"]) == (first["as_found_verdict"], None)
    assert first["as_found_loss_pct"] == last["as_found_loss_pct"] > last["after_tap_loss_pct"] + 5


def test_the_session_goes_through_the_engine_in_its_order(run: Run) -> None:
    sessions = [message.json for message in run.watcher.on("session")]
    assert list(dict.fromkeys(session["cylinder"] for session in sessions)) == [1, 3, 4, 2, None]
    assert sessions[-1]["phase"] == "done"


def test_live_readings_are_true_where_they_are_called_stable(run: Run) -> None:
    true = {one.cylinder: (one.as_found_loss_pct, one.after_tap_loss_pct) for one in truth(load("four-cylinder"))}
    live = [message.json for message in run.watcher.on("live")]
    times_s = [message["mono_s"] for message in live]
    assert times_s == sorted(times_s)
    stable = [message for message in live if message["stable"] and message["phase"] in ("as-found", "after-tap")]
    assert {message["cylinder"] for message in stable} == {1, 2, 3, 4}
    for message in stable:
        true_pct = true[message["cylinder"]][message["phase"] == "after-tap"]
        assert message["loss_pct"] == pytest.approx(true_pct, abs=1.3), message


# ---- what the raw log gives


def test_a_replay_of_the_raw_log_gives_the_same_records(run: Run, tmp_path: Path) -> None:
    (log,) = run.bench.raw_logs
    replayed = run.bench.run("replay", log, "--into", tmp_path / "replayed.db")
    assert replayed.returncode == 0, replayed.stderr
    again, live = measured(tmp_path / "replayed.db"), measured(run.bench.database)
    for table in live:
        assert live[table] and again[table] == live[table], table
