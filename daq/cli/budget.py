"""`boretight budget`: what the uncertainty of a stored reading is made of."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

from daq.cli.output import print_json, print_table
from daq.config import load
from daq.errors import DataError, UsageError
from daq.records import Contribution
from daq.report.budget_table import COLUMNS, budget_rows, combine
from daq.sinks.store import readable
from daq.units import PressureUnit

_ID = re.compile("[0-9]{1,18}")  # what fits the 64 bit of an SQLite integer

_QUERY = """
    SELECT stable_reading.id, stable_reading.t_utc, stable_reading.engine, stable_reading.calibration_id, event.detail
    FROM stable_reading JOIN event ON event.id = stable_reading.event_id
    WHERE {choice} ORDER BY stable_reading.id DESC LIMIT 1
"""


def budget(reading: str, database: Path | None, config_path: Path | None, as_json: bool) -> None:
    """`reading`: the id of a stable reading as `export stable` shows its rows, or `last`."""
    config = load(config_path)
    row = stored(database or config.storage.database, reading)
    if as_json:
        print_json(row)
        return
    show(row, config.display.pressure)


def stored(database: Path, reading: str) -> dict[str, Any]:
    """The reading with its budget. UsageError if there is no such reading, DataError if it carries no budget."""
    if reading != "last" and not _ID.fullmatch(reading):
        raise UsageError(f"{reading[:40]!r} is no reading.", "Give the number of a stable reading, or `last`.")
    choice, values = ("1", []) if reading == "last" else ("stable_reading.id = ?", [int(reading)])
    with readable(database) as source:
        rows = list(source.query(_QUERY.format(choice=choice), values))
    if not rows:
        raise UsageError(
            f"There is no stable reading {'yet' if reading == 'last' else reading} in {database}.",
            "`boretight export stable` lists them.",
        )
    row, detail = rows[0], json.loads(rows[0]["detail"])
    if not detail.get("budget"):
        raise DataError(
            f"Reading {row['id']} was stored without a budget, by an earlier version.",
            "`boretight replay` makes it again from the raw log, with its budget.",
        )
    return {"reading": row["id"], "t_utc": row["t_utc"], "engine": row["engine"], **detail}


def lines_of(row: dict[str, Any]) -> list[Contribution]:
    """What is not finite stands as null in the database: degrees of freedom without end."""
    return [
        Contribution(
            line["component"],
            line["u"],
            line["unit"],
            line["sensitivity"],
            math.inf if line["degrees_of_freedom"] is None else line["degrees_of_freedom"],
        )
        for line in row["budget"]
    ]


def show(row: dict[str, Any], unit: PressureUnit) -> None:
    lines = lines_of(row)
    where = f"cylinder {row['cylinder']}, {row['phase']}" if row["cylinder"] is not None else "outside a test"
    print(f"Reading {row['reading']} at {row['t_utc']}, {where}, calibration {row['calibration_id']}")
    print(f"Loss {row['loss_pct']:.2f} % at {unit.show(row['supply_gauge_pa'])}")
    print_table("Uncertainty of the loss", COLUMNS, budget_rows(lines, unit))
    print(f"All together: {combine(lines).sentence()}.")
