"""`boretight demo`: the main job on an invented engine, from the bytes of a line to a table of its cylinders."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import platformdirs

from daq.cli.event_loop import run as run_loop
from daq.cli.output import print_table
from daq.cli.run import tell_broker
from daq.config import Config, EngineSection, MqttSection, StorageSection
from daq.daemon import Daemon
from daq.sinks.store import open_readonly
from daq.sinks.terminal import TerminalSink
from daq.sources.ports import LineSettings
from daq.sources.serial_line import SerialLine
from daq.sources.simulated import SimulatedBoard

SCENARIO = "four-cylinder"
ENGINE = "demo engine, invented inline four"
CAUTIONS = """\
This is a simulated board and an invented engine. On a real one, before any air:
  take bar and socket off the crank, compressed air turns it; stand clear of fan, belts and propeller;
  ignition and fuel off; eyes protected; mind hot parts; regulator at zero before you connect;
  keep below the pressure limit of hose and sensor; the engine maker's and local rules come first."""


def demo(speed: float, folder: Path | None, screen: bool | None) -> None:
    """Runs the scenario to its end (or Ctrl-C) and shows what is in the database then."""
    logging.basicConfig(format="boretight: %(message)s", level=logging.WARNING)
    config = demo_config(folder or _new_folder())
    print(CAUTIONS, end="\n\n", flush=True)
    with SimulatedBoard(SCENARIO, speed) as url:
        source = SerialLine(LineSettings(url), once=True)
        terminal = TerminalSink(config.bench, config.display.pressure, screen=screen)
        daemon = Daemon(config, source, [terminal], tell_broker)
        run_loop(daemon.run())
    show(config.storage.database)


def demo_config(folder: Path) -> Config:
    """The defaults, whatever file and environment of the user say, with a broker on a free port."""
    return Config.model_construct(  # the sections check their values; Config() would read the environment
        bench="demo",
        engine=EngineSection(name=ENGINE, firing_order="1-3-4-2"),
        storage=StorageSection(folder=folder),
        mqtt=MqttSection(port=0),
    )


def show(database: Path) -> None:
    """The cylinders as they stand in the database."""
    db = open_readonly(database)
    try:
        rows = [_row(row) for row in db.query(RESULTS)]
    finally:
        db.close()
    columns = ["cylinder", "as found", "taps", "after tap", "what the taps did"]
    print_table(f"{ENGINE}: loss at 100 psi, 0.040 in restrictor", columns, rows)
    print("Each loss is uncertain by about 1.2 points, for these sensors have not been paired; a change is known far")
    print("better, because their errors are the same before and after. `boretight calibrate pairing` mends the rest.")
    print(f"Database: {database}")


RESULTS = """
SELECT done.*, as_found.expanded_u_loss_pct AS u_pct,
    (SELECT detail FROM event WHERE event.boot_id = done.boot_id AND event.id < done.event_id
        AND event.kind = 'tap_effect' AND event.cylinder = done.cylinder ORDER BY event.id DESC LIMIT 1) AS effect
FROM cylinder_result AS done LEFT JOIN stable_reading AS as_found ON as_found.id = done.as_found_reading_id
ORDER BY done.id
"""


def _row(row: dict[str, Any]) -> list[str]:
    after_pct = row["after_tap_loss_at_set_pct"]
    effect = json.loads(row["effect"]) if row["effect"] else None
    return [
        f"{row['cylinder']}",
        f"{row['as_found_loss_at_set_pct']:.1f} +-{row['u_pct']:.1f} %",
        f"{row['taps']}",
        "-" if after_pct is None else f"{after_pct:.1f} %",
        "-" if effect is None else _effect(effect),
    ]


def _effect(effect: dict[str, Any]) -> str:
    word = effect["verdict"].replace("-", " ")
    return f"{word}: {effect['change_pct']:+.2f} +-{2 * effect['u_change_pct']:.2f} points"


def _new_folder() -> Path:
    """A folder of its own for each demo, among the user's data."""
    return Path(platformdirs.user_data_dir("boretight")) / "demo" / f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
