"""`boretight test`: start the test of an engine on a running bench, and look at those that are stored."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from daq.cli.output import print_json, print_table
from daq.config import load
from daq.engine_sheet import sheet
from daq.errors import UsageError
from daq.planning import StartRequest, configured
from daq.procedure.cautions import before_air
from daq.report.test_list import state_of, stored_tests
from daq.sinks.store import readable

if TYPE_CHECKING:
    from daq.cli.mark import Bench


def start(request: StartRequest, bench: Bench, as_json: bool) -> None:
    """Asks for the cautions to be acknowledged, where there is somebody to ask, before the bench is told."""
    from daq.cli.mark import ask

    config = load(bench.path)
    wanted = sheet(config.storage.engines, request.engine) if request.engine else configured(config)
    if not request.acknowledged_by and sys.stdin.isatty() and not as_json:
        request = request.model_copy(update={"acknowledged_by": _acknowledged(wanted.certified)})
    ask(bench, "start", request.model_dump(mode="json", exclude_defaults=True), as_json)
    if not request.acknowledged_by and not as_json:
        print("Nobody has acknowledged the cautions yet: `boretight mark acknowledge` does it, before any air.")


def _acknowledged(certified: bool) -> str:
    """The name of who has read them; UsageError, and no test, for anything but a yes."""
    print("Before any air:")
    for caution in before_air(certified):
        print(f"  - {caution.text}")
    if input("All of this is so? [yes/no] ").strip().lower() not in ("y", "yes"):
        raise UsageError("No test was started.", "Start it again when all of it is so.")
    return getpass.getuser()


def list_tests(database: Path | None, config_path: Path | None, most: int, as_json: bool) -> None:
    """The newest first."""
    with readable(database or load(config_path).storage.database) as db:
        rows = stored_tests(db, most)
    if as_json:
        print_json(rows)
    else:
        print_table(
            "Tests",
            ["test", "engine", "started (UTC)", "state", "cylinders", "engine was"],
            [_line(row) for row in rows],
        )


def _line(row: dict[str, Any]) -> list[str]:
    state = state_of(row)
    return [row["name"], row["engine"], row["started_utc"][:16], state, str(row["cylinders"]), row["heat"] or "unknown"]
