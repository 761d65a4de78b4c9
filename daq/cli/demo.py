"""`boretight demo`: the main job on an invented engine: the two channels paired, a V8 tested hands free, its report."""

from __future__ import annotations

import json
import logging
import os
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import platformdirs

from daq.cli.calibrate_pairing import collect, pairing_record, show_pairing
from daq.cli.event_loop import run as run_loop
from daq.cli.finding import add as add_finding
from daq.cli.report import Asked, Wanted, file_name, report, show
from daq.cli.run import tell_broker, tell_cautions
from daq.cli.workshop import Board, Notes, Workshop
from daq.config import Config, EngineSection, MqttSection, StorageSection
from daq.daemon.bench import calibration_in_force
from daq.daemon.daemon import Daemon
from daq.planning import StartRequest
from daq.procedure.plan import Temperature
from daq.records import Mark, MarkKind
from daq.sinks.store import readable
from daq.sinks.terminal import TerminalSink
from daq.sources.ports import LineSettings
from daq.sources.serial_line import SerialLine
from daq.sources.simulated import SimulatedBoard

SCENARIO, PAIRING_SCENARIO, PROFILE = "v8", "pairing-v8", "v8"
PLATEAUS = 3
TEST, HEARD = "demonstration", "5: exhaust clear hiss at the tailpipe"
REQUEST = StartRequest(
    test=TEST,
    temperature=Temperature.HOT,
    acknowledged_by="demonstration",
    soft_step=True,
    note="an invented engine on a simulated board",
)


def demo(speed: float, folder: Path | None, screen: bool | None) -> None:
    """Runs it to its end (or Ctrl-C), shows the cylinders, and writes the report."""
    logging.basicConfig(format="boretight: %(message)s", level=logging.WARNING)
    config = demo_config(folder or _new_folder())
    print("This is a simulated board and an invented engine; on a real one it is meant.", end=" ")
    tell_cautions(certified=False)
    print("First the two channels are paired, outlet blocked:\n", flush=True)
    _pair(config, speed)
    print("\nNow the engine, from the first cylinder to the last; nobody touches a key:\n", flush=True)
    _test(config, speed, screen)
    _report(config)


def demo_config(folder: Path) -> Config:
    """The defaults, whatever file and environment of the user say, with a broker on a free port."""
    engine = EngineSection.model_validate(EngineSection.filled({"profile": PROFILE}, folder / "engines"))
    return Config(bench="demo", engine=engine, storage=StorageSection(folder=folder), mqtt=MqttSection(port=0))


def _pair(config: Config, speed: float) -> None:
    shop = Workshop(config, calibration_in_force(config, print))
    with shop.live(Board(scenario=PAIRING_SCENARIO, speed=speed)) as live:
        plateaus = collect(live, lambda: live.board, shop, PLATEAUS)
        record = pairing_record(shop, plateaus, live.board, Notes(by="demonstration"), timedelta(days=7))
    show_pairing(record, shop)
    shop.keep(record)


def _test(config: Config, speed: float, screen: bool | None) -> None:
    with SimulatedBoard(SCENARIO, speed) as url:
        source = SerialLine(LineSettings(url), once=True)
        terminal = TerminalSink(config.bench, config.display.pressure, screen=screen)
        daemon = Daemon(config, source, [terminal], tell_broker)
        daemon.take(Mark(time.time(), MarkKind.START, REQUEST.model_dump_json()))
        run_loop(daemon.run())


def _report(config: Config) -> None:
    """From the database, by the commands that anybody has."""
    path = config.storage.folder / "boretight.toml"
    folder = json.dumps(str(config.storage.folder))  # a TOML string is one of JSON
    path.write_text(f'bench = "demo"\n[engine]\nprofile = "{PROFILE}"\n[storage]\nfolder = {folder}\n')
    asked = Asked(TEST, config=path)
    if _leaks(config.storage.database):
        print("\nSomebody heard where the air of cylinder 5 went, and tells it afterwards:\n", flush=True)
        add_finding(TEST, HEARD, None, path, as_json=False)
    show(asked, as_json=False)
    print("\nThe report, to be opened in a browser or printed, and the database, for any SQLite tool:")
    report(asked, Wanted(), paper="a4")
    _open(config.storage.folder / f"{file_name(TEST)}.html")
    print(f"{config.storage.database}\nThe bench of this demonstration, for other commands: --config {path}")


def _open(page: Path) -> None:
    """In a browser, where somebody sits before a screen that can show one."""
    has_screen = sys.platform in ("darwin", "win32") or os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    if sys.stdout.isatty() and has_screen and page.exists():
        import webbrowser

        webbrowser.open(page.as_uri())


def _leaks(database: Path) -> bool:
    """Whether the demonstration came as far as the cylinder that leaks."""
    with readable(database) as db:
        return db.execute("SELECT 1 FROM cylinder_result WHERE cylinder = 5").fetchone() is not None


def _new_folder() -> Path:
    """A folder of its own for each demo, among the user's data."""
    return Path(platformdirs.user_data_dir("boretight")) / "demo" / f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
