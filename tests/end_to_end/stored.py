"""What a database says of a run, to be compared: with another database, and with what the simulator knows."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from simulator.scenario import load
from simulator.truth import CylinderTruth, truth

MEASURED = {
    "event": "segment, t_s, kind, cylinder, detail",
    "stable_reading": "*",
    "reading": "*",
    "cylinder_result": "*",
    "sample_block": "segment, start_us, end_us, n, block",
}
"""Tables, and what of them does not depend on when and in which run it was stored; `*` is all but ids and dates."""

OF_THE_RUN = {"id", "event_id", "boot_id", "t_utc", "as_found_reading_id", "after_tap_reading_id"}

Rows = list[dict[str, Any]]


def measured(database: Path, boot: str | None = None) -> dict[str, Rows]:
    """All that was measured in a run (the newest one), table by table, in the order of time."""
    with closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as connection:
        connection.row_factory = sqlite3.Row
        newest = "SELECT id FROM boot WHERE name = ifnull(?, name) ORDER BY id DESC LIMIT 1"
        (boot_id,) = connection.execute(newest, [boot]).fetchone()
        return {
            table: [
                _of_the_measurement(row)
                for row in connection.execute(f"SELECT {columns} FROM {table} WHERE boot_id = ? ORDER BY id", [boot_id])
            ]
            for table, columns in MEASURED.items()
        }


def _of_the_measurement(row: sqlite3.Row) -> dict[str, Any]:
    return {name: row[name] for name in row.keys() if name not in OF_THE_RUN}  # noqa: SIM118 - a Row has no items


def sample_times_us(blocks: Sequence[dict[str, Any]]) -> list[tuple[int, int, int]]:
    return [(block["segment"], block["start_us"], block["end_us"]) for block in blocks]


def agrees_with_truth(result: dict[str, Any], true: CylinderTruth) -> None:
    """Before and after the taps, within the expanded uncertainty (k = 2) that is stored beside the loss."""
    for name, true_pct in (("as_found", true.as_found_loss_pct), ("after_tap", true.after_tap_loss_pct)):
        error_pct = result[f"{name}_loss_at_set_pct"] - true_pct
        assert abs(error_pct) <= 2 * result[f"{name}_u_loss_pct"], (name, result, true)
        assert result[f"{name}_u_loss_pct"] < 1.0, "an uncertainty that would hide any error"


def the_whole_engine(results: Rows) -> None:
    """The results of `four-cylinder`, in its order, are what the simulator knows."""
    true = {one.cylinder: one for one in truth(load("four-cylinder"))}
    assert [result["cylinder"] for result in results] == [1, 3, 4, 2]
    for result in results:
        agrees_with_truth(result, true[result["cylinder"]])
        assert result["taps"] == 2
    four = next(result for result in results if result["cylinder"] == 4)
    improvement = four["as_found_loss_at_set_pct"] - four["after_tap_loss_at_set_pct"]
    assert abs(improvement - (true[4].as_found_loss_pct - true[4].after_tap_loss_pct)) <= 0.3
