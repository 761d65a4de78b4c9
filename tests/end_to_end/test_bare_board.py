"""A board that prints two numbers a line and nothing else."""

from __future__ import annotations

import json

from daq.pipeline import BARE_WARNING
from simulator.scenario import load
from simulator.truth import truth
from tests.end_to_end.bench import Bench


def test_it_is_accepted_and_what_it_cannot_protect_is_said_once_and_stored(bench: Bench) -> None:
    """In real time: the only clock that such a board has is that of arrival."""
    bench.board("bare", 1)
    daemon = bench.daemon()
    daemon.until(lambda: bench.rows("SELECT * FROM stable_reading"), "a reading")
    assert daemon.end() == 0
    (board,) = {(row["line_format"], row["bits"]) for row in bench.rows("SELECT line_format, bits FROM board")}
    assert board == ("bare", 10)
    links = [json.loads(row["detail"]) for row in bench.rows("SELECT detail FROM event WHERE kind = 'link_change'")]
    assert [link["reason"] for link in links if link["up"]] == [BARE_WARNING]
    assert daemon.said.count(BARE_WARNING) == 1
    (true,) = truth(load("bare"))
    for reading in bench.rows("SELECT loss_at_set_pct, u_loss_pct FROM stable_reading"):
        assert abs(reading["loss_at_set_pct"] - true.as_found_loss_pct) <= 2 * reading["u_loss_pct"]
