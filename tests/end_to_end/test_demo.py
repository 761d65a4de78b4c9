"""`boretight demo`: the whole job from one command, to its end and broken off."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator

import psutil
import pytest

from daq.sinks.raw_log import read_raw_log
from daq.sinks.raw_log_reader import Ended
from tests.end_to_end.bench import PATIENCE_S, Bench, completed
from tests.end_to_end.stored import measured

SPEED = 20


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Bench, str]]:
    """A demonstration that came to its end, and what it printed."""
    bench = Bench(tmp_path_factory.mktemp("demo"))
    done = bench.run("demo", "--speed", SPEED, "--folder", bench.storage, "--no-screen")
    assert (done.returncode, done.stderr) == (0, "")
    yield bench, done.stdout
    bench.close()


def test_the_cylinders_are_what_the_simulator_knows(finished: tuple[Bench, str]) -> None:
    bench, _ = finished
    told = json.loads(completed([sys.executable, "-m", "simulator", "truth", "v8", "--json"], bench.env).stdout)
    results = bench.results()
    assert [row["cylinder"] for row in results] == [row["cylinder"] for row in told]
    for result, truth in zip(results, told, strict=True):
        for when in ("as_found", "after_tap"):
            off_pct = result[f"{when}_loss_at_set_pct"] - truth[f"{when}_loss_pct"]
            assert abs(off_pct) < 3 * result[f"{when}_u_loss_pct"], (result["cylinder"], when)
            assert result[f"{when}_u_loss_pct"] < 0.3, "the channels were paired before"


def test_what_happened_on_the_way_is_stored(finished: tuple[Bench, str]) -> None:
    bench, _ = finished
    kinds = Counter(bench.kinds())
    assert (kinds["tap"], kinds["cylinder_done"], kinds["test_done"], kinds["soft_step"]) == (16, 8, 1, 8)
    assert [kinds[fault] for fault in ("gap", "bad_lines", "restarted", "board_fault", "fault")] == [0] * 5
    cues = [row["cue"] for row in bench.rows("SELECT detail ->> 'cue' AS cue FROM event WHERE kind = 'cue'")]
    assert (cues.count("turn-to-cylinder"), cues.count("captured"), cues.count("better")) == (7, 8, 1)


def test_it_tells_cautions_first_and_what_to_do_last(finished: tuple[Bench, str]) -> None:
    bench, said = finished
    assert said.index("off the crank before any air") < said.index("Board on the line")
    end = said[said.rindex("Somebody heard") :]
    assert "Take it apart at cylinder 5" in end and "the exhaust valve does not seal" in end
    report = bench.storage / "demonstration.html"
    assert str(report) in end and str(bench.database) in end
    page = report.read_text()
    assert "Take it apart at cylinder 5" in page and "hiss at the tailpipe" in page


def test_its_raw_log_is_whole(finished: tuple[Bench, str]) -> None:
    bench, _ = finished
    _is_whole(bench)


def test_ctrl_c_in_a_terminal_ends_it_cleanly(bench: Bench) -> None:
    """Typed into the terminal, so that all that runs in its foreground gets it."""
    demo = bench.start_in_terminal("boretight", "demo", "--speed", SPEED, "--folder", bench.storage)
    demo.until(lambda: "stable_reading" in bench.kinds(), "a first reading")
    children = psutil.Process(demo.pid).children(recursive=True)
    assert len(children) == 2, "a board and a broker"
    before = measured(bench.database)["event"]
    demo.type(b"\x03")
    assert demo.process.wait(PATIENCE_S) == 0
    assert psutil.wait_procs(children, PATIENCE_S)[1] == []
    after = measured(bench.database)["event"]
    assert after[: len(before)] == before and "link_change" in {event["kind"] for event in after[-2:]}
    assert bench.rows("PRAGMA integrity_check") == [{"integrity_check": "ok"}]
    assert bench.rows("SELECT * FROM boot WHERE ended_utc IS NULL") == []
    _is_whole(bench)
    assert all(word in demo.said for word in ("CYLINDER 1", "SUPPLY", "HELD", "█"))
    assert "Traceback" not in demo.said and str(bench.database) in demo.said.replace("\r\n", "")


def _is_whole(bench: Bench) -> None:
    (path,) = bench.raw_logs
    log = read_raw_log(path)
    assert list(log)
    assert (log.info.ended, log.info.complaints()) == (Ended.CLOSED, [])
