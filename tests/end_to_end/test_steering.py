"""A running bench is steered from the command line, over its broker; a kill in the middle costs nothing."""

from __future__ import annotations

import json
import signal

import pytest

from daq.errors import UsageError
from tests.end_to_end.bench import Bench, Running

SPEED = 8


@pytest.fixture
def daemon(bench: Bench) -> Running:
    bench.board(bench.lasting("four-debris"), SPEED)
    running = bench.daemon()
    running.until(lambda: "session" in bench.kinds(), "a board on the line")
    return running


def told(bench: Bench, *words: object) -> str:
    done = bench.run(*words, "--config", bench.config)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_test_is_started_steered_and_listed(bench: Bench, daemon: Running) -> None:
    out = told(
        bench, "test", "start", "inline-four", "--hot", "--acknowledged-by", "kim", "--name", "spring", "--hours", 812
    )
    assert out == "garage: start\n"
    daemon.until(lambda: bench.rows("SELECT * FROM test WHERE name = 'spring'"), "the test")
    (plan,) = (json.loads(row["plan"]) for row in bench.rows("SELECT plan FROM test WHERE name = 'spring'"))
    assert (plan["temperature"], plan["acknowledged"], plan["about"]["hours"]) == ("hot", "kim", 812.0)
    told(bench, "mark", "heard", "3:", "exhaust", "faint", "at", "the", "tailpipe")
    told(bench, "mark", "pause")
    refused = bench.run("mark", "pause", "--config", bench.config)
    assert refused.returncode == UsageError.exit_code and "the test is paused" in refused.stderr
    told(bench, "mark", "go-on")
    told(bench, "mark", "finish")
    daemon.until(lambda: bench.rows("SELECT * FROM test WHERE ended_utc IS NOT NULL AND name = 'spring'"), "its end")
    (finding,) = bench.rows("SELECT cylinder, place, strength, note FROM finding")
    assert finding == {"cylinder": 3, "place": "exhaust", "strength": "faint", "note": "at the tailpipe"}
    listed = {test["name"]: test for test in json.loads(told(bench, "test", "list", "--json"))}
    assert (listed["spring"]["engine"], listed["spring"]["heat"]) == ("invented inline four", "hot")


def test_what_makes_no_sense_is_refused_with_the_reason(bench: Bench, daemon: Running) -> None:
    for words, reason in (
        (("mark", "go-on"), "means nothing now"),
        (("mark", "cylinder", "9"), "no cylinder 9"),
        (("mark", "heard", "somewhere"), "Where was it heard"),
        (("test", "start", "no-such-engine"), "no-such-engine"),
    ):
        done = bench.run(*words, "--config", bench.config)
        assert done.returncode != 0 and reason in done.stderr, words
    assert "marked" not in bench.kinds()


def test_undo_with_nothing_to_take_back_is_refused(bench: Bench) -> None:
    running = bench.daemon()
    running.until(lambda: bench.run("mark", "note", "here", "--config", bench.config).returncode == 0, "the bench")
    done = bench.run("mark", "undo", "--config", bench.config)
    assert done.returncode == UsageError.exit_code
    assert "no result, skip or finding of this test is left to be taken back" in done.stderr
    assert "What means something now: start, " in done.stderr


def test_cautions_that_nobody_acknowledged_hold_the_test(bench: Bench, daemon: Running) -> None:
    out = told(bench, "test", "start", "inline-four")
    assert "Nobody has acknowledged the cautions" in out
    daemon.until(lambda: '"cautions"' in str(bench.rows("SELECT detail FROM event WHERE kind = 'session'")), "cautions")
    told(bench, "mark", "acknowledge")
    phases = "SELECT json_extract(detail, '$.phase') AS phase FROM event WHERE kind = 'session' ORDER BY id DESC"
    daemon.until(lambda: bench.rows(phases)[0]["phase"] != "cautions", "the test to go on")


def test_a_killed_test_goes_on_under_its_name_and_loses_nothing(bench: Bench, daemon: Running) -> None:
    """Killed twice in the middle of a cylinder. What happens on the bench meanwhile no daemon can know."""
    start = ("test", "start", "inline-four", "--hot", "--acknowledged-by", "kim", "--name", "spring")
    told(bench, *start)
    daemon.until(lambda: bench.rows("SELECT 1 FROM test WHERE name = 'spring'"), "the test")
    (test,) = bench.rows("SELECT id FROM test WHERE name = 'spring'")

    def results() -> list[int]:
        sql = "SELECT cylinder FROM cylinder_result WHERE test_id = ? ORDER BY id"
        return [row["cylinder"] for row in bench.rows(sql, test["id"])]

    for kill in (1, 2):
        daemon.until(lambda wanted=kill: len(results()) >= wanted, f"result {kill}")
        before = results()
        daemon.end(signal.SIGKILL)
        daemon = bench.daemon()
        daemon.until(lambda runs=kill: bench.kinds().count("link_change") > runs, "the board on the line again")
        assert results()[: len(before)] == before
    told(bench, "mark", "finish")
    daemon.until(lambda: bench.rows("SELECT 1 FROM test WHERE name = 'spring' AND ended_utc IS NOT NULL"), "its end")
    assert len(results()) == len(set(results())) >= 2
    (*_, end) = bench.rows("SELECT detail FROM event WHERE kind = 'test_done' ORDER BY id")
    done = json.loads(end["detail"])
    assert (done["test"], sorted(one["cylinder"] for one in done["cylinders"])) == ("spring", sorted(results()))
