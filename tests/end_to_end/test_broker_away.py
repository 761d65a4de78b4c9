"""A broker that goes away and comes back: acquisition and storage go on, and nothing that was stored stays untold."""

from __future__ import annotations

import itertools
from typing import Any

import psutil

from tests.end_to_end.bench import PATIENCE_S, Bench, answers
from tests.suites.brokers import Mosquitto, Watcher, until

SPEED = 20
OUTAGE_S = 5.0
"""Of the board's time, at least: many times what a live reading may be late."""


def test_what_was_stored_meanwhile_is_told_in_order_and_live_readings_are_not(
    mosquitto_bench: Bench, mosquitto: Mosquitto
) -> None:
    bench = mosquitto_bench
    daemon = bench.daemon()
    with Watcher(mosquitto.port, "--disable-clean-session", "--id", "stranger") as watcher:
        bench.board(bench.lasting("four-cylinder"), SPEED)
        daemon.until(lambda: len(bench.results()) == 1, "a first result")
        mosquitto.stop()
        daemon.until(lambda: len(bench.results()) == 2, "a result without a broker")
        gone_s = _newest_sample_s(bench)
        daemon.until(lambda: _newest_sample_s(bench) > gone_s + OUTAGE_S, "samples without a broker")
        daemon.until(lambda: len(bench.results()) == 3, "another result")
        back_s = _newest_sample_s(bench)
        waiting = _waiting(bench)
        mosquitto.start()
        daemon.until(lambda: "test_done" in bench.kinds() and not _waiting(bench), "everything told")
        daemon.until(lambda: watcher.on("live")[-1].json["mono_s"] > back_s, "live readings")
        until(lambda: watcher.on("status")[-1:] and watcher.on("status")[-1].json["reconnects"] == 1, "its return")
        assert daemon.end() == 0
        until(lambda: watcher.bodies("availability")[-1:] == ["offline"], "offline")

    assert {row["kind"] for row in waiting} >= {"stable_reading", "tap", "cylinder_done"}
    for stream in ("event", "reading"):
        stored = [row["body"] for row in bench.rows("SELECT body FROM event WHERE stream = ? ORDER BY id", stream)]
        assert list(dict.fromkeys(watcher.bodies(stream))) == stored
    live_s = [message.json["mono_s"] for message in watcher.on("live")]
    assert live_s and not [time_s for time_s in live_s if gone_s < time_s < back_s]
    _nothing_is_missing(bench)


def test_the_embedded_broker_is_brought_back(bench: Bench) -> None:
    daemon = bench.daemon()
    bench.board("four-cylinder", SPEED)
    daemon.until(lambda: len(bench.results()) == 1, "a first result")
    (broker,) = psutil.Process(daemon.pid).children(recursive=True)
    broker.kill()
    broker.wait(PATIENCE_S)
    daemon.until(lambda: answers(bench.mqtt_port), "a new broker on the same port")
    with Watcher(bench.mqtt_port) as watcher:
        daemon.until(lambda: watcher.bodies("availability") == ["online"], "online")
        daemon.until(lambda: "test_done" in bench.kinds() and not _waiting(bench), "everything told")
        until(lambda: watcher.on("session")[-1].json["phase"] == "done", "the state of now")
    assert daemon.end() == 0
    _nothing_is_missing(bench)


def _newest_sample_s(bench: Bench) -> float:
    (row,) = bench.rows("SELECT max(end_us) AS us FROM sample_block")
    return float(row["us"]) * 1e-6


def _waiting(bench: Bench) -> list[dict[str, Any]]:
    return bench.rows("SELECT kind FROM event WHERE body IS NOT NULL AND announced_utc IS NULL")


def _nothing_is_missing(bench: Bench) -> None:
    blocks = bench.rows("SELECT start_us, end_us FROM sample_block ORDER BY start_us")
    assert all(right["start_us"] - left["end_us"] == 5000 for left, right in itertools.pairwise(blocks))
    assert "gap" not in bench.kinds()
