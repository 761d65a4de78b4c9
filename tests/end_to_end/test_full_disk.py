"""A disk that is full for a while: the daemon goes on, says so, and stores the rest when there is room again."""

from __future__ import annotations

import itertools
import json

from daq.sinks.raw_log import read_raw_log
from tests.end_to_end.bench import Bench
from tests.end_to_end.small_disk import SmallDisk, small_disk
from tests.end_to_end.stored import the_whole_engine
from tests.suites.brokers import Mosquitto, Watcher, until

SPEED = 20
FAULTS = {"raw-log-not-written", "store-failing"}


def test_events_are_stored_as_soon_as_there_is_room(mosquitto_bench: Bench, mosquitto: Mosquitto) -> None:
    mosquitto_bench.storage.mkdir()
    with small_disk(mosquitto_bench.storage) as disk:
        _fills_up_and_gets_room(mosquitto_bench, mosquitto, disk)


def _fills_up_and_gets_room(bench: Bench, broker: Mosquitto, disk: SmallDisk) -> None:
    daemon = bench.daemon()
    with Watcher(broker.port) as watcher:
        bench.board("four-cylinder", SPEED)
        daemon.until(lambda: len(bench.results()) == 1, "a first result")
        disk.fill(daemon.pid)
        daemon.until(lambda: _faults(watcher) == FAULTS, "a status that says so")
        daemon.until(lambda: watcher.on("session")[-1].json["cylinder"] == 2, "the test to go on all the same")
        assert len(_done(watcher)) < 3, "what is published was stored"
        disk.make_room(daemon.pid)
        daemon.until(lambda: "test_done" in bench.kinds(), "all of the test in the database")
        daemon.until(lambda: _faults(watcher) == set(), "a status without faults")
        assert daemon.end() == 0
        until(lambda: _done(watcher) == [1, 3, 4, 2], "everything told")

    the_whole_engine(bench.results())
    assert "the disk is full" in daemon.said and "Traceback" not in daemon.said
    # no sample is missing
    blocks = bench.rows("SELECT start_us, end_us FROM sample_block ORDER BY start_us")
    assert all(right["start_us"] - left["end_us"] == 5000 for left, right in itertools.pairwise(blocks))
    (path,) = bench.raw_logs
    log = read_raw_log(path)
    assert list(log) and log.info.lost_inputs > 0, "the raw log admits what it misses"


def _faults(watcher: Watcher) -> set[str]:
    status = watcher.on("status")
    return set(status[-1].json["faults"].split()) if status else set()


def _done(watcher: Watcher) -> list[int]:
    messages = [json.loads(body) for body in dict.fromkeys(watcher.bodies("event"))]
    return [message["cylinder"] for message in messages if message["kind"] == "cylinder-done"]
