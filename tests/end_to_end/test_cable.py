"""A board that restarts, and a cable that is pulled and put back, on each kind of line that a board may be behind."""

from __future__ import annotations

import json
import signal
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from simulator.scenario import load
from simulator.truth import truth
from tests.end_to_end.bench import Bench, Running, answers
from tests.end_to_end.stored import agrees_with_truth, measured
from tests.suites.brokers import Watcher, free_port

SCENARIOS = Path(__file__).with_name("scenarios")
BAD_CABLE, VENTED_UNSEEN = SCENARIOS / "bad-cable.toml", SCENARIOS / "vented-unseen.toml"
SPEED = 8
SAMPLE_US = 5000
"""At the rate that the daemon asks for by default, 200 Hz."""


@pytest.fixture(params=["pty", "tcp"])
def daemon(request: pytest.FixtureRequest, bench: Bench) -> Running:
    """A daemon on the board of the scenario."""
    if request.param == "pty":
        bench.board(BAD_CABLE, SPEED)
        return bench.daemon()
    port = free_port()
    board = bench.start("boretight-simulator", "serve", BAD_CABLE, "--tcp", port, "--speed", SPEED)
    board.until(lambda: str(port) in board.said, "a board on its port")
    return bench.daemon("--port", f"socket://127.0.0.1:{port}")


def test_measurement_goes_on_after_a_restart_and_after_a_pulled_cable(bench: Bench, daemon: Running) -> None:
    daemon.until(lambda: answers(bench.mqtt_port), "a broker")
    with Watcher(bench.mqtt_port) as watcher:
        daemon.until(lambda: _readings_in(bench, 1), "a reading")
        daemon.until(lambda: _readings_in(bench, 3), "a reading after the restart")
        daemon.until(lambda: _last_line(watcher) in ("down", "searching"), "a line that is down")
        daemon.until(lambda: _readings_in(bench, 4), "a reading after the cable was put back")
        daemon.until(lambda: _last_line(watcher) == "up", "a line that is up again")
        assert watcher.on("status")[-1].json["board_restarts"] == 1
    assert daemon.end() == 0

    links = _details(bench, "link_change", "restarted")
    said = [(link.get("up", link.get("cause")), link["segment"]) for link in links]
    assert said == [(True, 1), ("watchdog", 2), (True, 3), (False, 3), (True, 4), (False, 4)]
    assert "the far end closed the line" in links[3]["reason"]
    stored = measured(bench.database)
    assert {block["segment"] for block in stored["sample_block"]} == {1, 3, 4}
    (true,) = truth(load(str(BAD_CABLE)))
    for reading in stored["stable_reading"]:
        assert abs(reading["loss_at_set_pct"] - true.as_found_loss_pct) <= 2 * reading["u_loss_pct"]


def _readings_in(bench: Bench, segment: int) -> Sequence[dict[str, Any]]:
    return bench.rows("SELECT * FROM stable_reading WHERE segment = ?", segment)


def _details(bench: Bench, *kinds: str) -> list[dict[str, Any]]:
    rows = bench.rows("SELECT kind, detail FROM event ORDER BY id")
    return [json.loads(row["detail"]) for row in rows if row["kind"] in kinds]


def _last_line(watcher: Watcher) -> str:
    status = watcher.on("status")
    return str(status[-1].json["line"]) if status else ""


def test_a_board_that_dies_and_comes_back_is_found_again(bench: Bench) -> None:
    """Its end of the line is gone without a word, and the link to it hangs in the air."""
    board = bench.board("steady", SPEED)
    daemon = bench.daemon()
    daemon.until(lambda: _readings_in(bench, 1), "a reading")
    board.end(signal.SIGKILL)
    daemon.until(lambda: len(_details(bench, "link_change")) == 2, "a lost line")
    bench.link.unlink()
    bench.board("steady", SPEED)
    daemon.until(lambda: _readings_in(bench, 2), "a reading of the new board")
    assert daemon.end() == 0


def test_a_cylinder_vented_while_the_cable_was_out_is_not_taken_for_the_next(bench: Bench) -> None:
    """What the next cylinder reads must not become a reading of this one."""
    bench.order = "1-2"
    daemon = bench.daemon()
    bench.board(VENTED_UNSEEN, SPEED)
    daemon.until(lambda: "test_done" in bench.kinds(), "two cylinders")
    assert daemon.end() == 0
    for result, true in zip(bench.results(), truth(load(str(VENTED_UNSEEN))), strict=True):
        agrees_with_truth(result, true)


def test_on_a_rough_line_all_that_was_lost_is_counted(bench: Bench) -> None:
    """Garbage, damaged lines, lost bytes and frames, a restart, a pulled cable; the cylinders are measured all the
    same, and what is missing in the database is what the events say is missing."""
    bench.order = "1-2"
    daemon = bench.daemon()
    bench.board("rough-line", SPEED)
    daemon.until(lambda: "test_done" in bench.kinds(), "two cylinders")
    assert daemon.end() == 0
    assert {"gap", "bad_lines", "restarted", "board_fault", "marked", "tap", "link_change"} <= set(bench.kinds())
    for result, true in zip(bench.results(), truth(load("rough-line")), strict=True):
        assert abs(result["as_found_loss_at_set_pct"] - true.as_found_loss_pct) <= 2 * result["as_found_u_loss_pct"]

    ends = "segment, min(start_us) AS first, max(end_us) AS last, sum(n) AS n"
    gaps = _details(bench, "gap")
    for block in bench.rows(f"SELECT {ends} FROM sample_block GROUP BY segment"):
        missing = sum(gap["missing"] for gap in gaps if gap["segment"] == block["segment"])
        assert block["n"] + missing == round((block["last"] - block["first"]) / SAMPLE_US) + 1
