"""What all commands of calibration need: the configuration, what is in force, the folder, and the bench to itself."""

from __future__ import annotations

import getpass
import platform
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from daq import records
from daq.calibration_files import AnyRecord, Made, Shelf, as_json, read_shelf, save, utc_of
from daq.cli.live_ticks import LiveTicks
from daq.cli.output import print_json
from daq.config import Config, load
from daq.daemon.bench import calibration_in_force, line_settings, software
from daq.records import Calibration, Instrument
from daq.sinks.disk import storage_errors
from daq.sinks.store.lock import DatabaseLock
from daq.sources.ports import LineSettings
from daq.sources.simulated import SimulatedBoard
from daq.units import PressureUnit


@dataclass(frozen=True, slots=True)
class Notes:
    """What the person at the bench says of the calibration."""

    by: str | None = None
    ambient_c: float | None = None
    ambient_kpa: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Board:
    """Which board a guided run reads: that of the configuration, another port, or a simulated one."""

    port: str | None = None
    scenario: str | None = None
    speed: float = 1.0


@dataclass(frozen=True, slots=True)
class Workshop:
    """`calibration` is what is in force now; `as_json`: the result for a program, not for a person."""

    config: Config
    calibration: Calibration
    as_json: bool = False

    @property
    def folder(self) -> Path:
        return self.config.storage.calibrations

    @property
    def instrument(self) -> Instrument:
        return self.config.measuring_instrument()

    @property
    def unit(self) -> PressureUnit:
        return self.config.display.pressure

    @property
    def lines(self) -> Calibration:
        """The calibration without pairing: each channel by itself."""
        return replace(self.calibration, pairing=None)

    def shelf(self) -> Shelf:
        return read_shelf(self.folder)

    def say(self, text: str) -> None:
        """For the person; not among the JSON."""
        print(text, file=sys.stderr if self.as_json else sys.stdout, flush=True)

    def made(self, notes: Notes, due: timedelta, board: str = "", now_s: float | None = None) -> Made:
        utc = utc_of(time.time() if now_s is None else now_s)
        return Made(
            utc=utc, by=notes.by or getpass.getuser(), software=software(), due_utc=utc + due, board=board,
            ambient_c=notes.ambient_c, ambient_kpa=notes.ambient_kpa, note=notes.note,
        )  # fmt: skip

    def keep(self, record: AnyRecord) -> AnyRecord:
        """Saves the record; what is in force from the next start of the daemon on."""
        path, named = save(self.folder, record)
        if self.as_json:
            print_json(as_json(named))
        self.say(f"Kept as {path}. It counts from the next start of `boretight run` on.")
        return named

    @contextmanager
    def bench_to_itself(self) -> Iterator[None]:
        """No daemon may read the board, or begin to, meanwhile. StorageError, naming the holder, if one runs."""
        database = self.config.storage.database
        with storage_errors(database, "make its folder"):
            database.parent.mkdir(parents=True, exist_ok=True)
        with DatabaseLock(database, f"boretight calibrate on {platform.node()}"):
            yield

    @contextmanager
    def live(self, board: Board) -> Iterator[LiveTicks]:
        """The board, with the bench to itself."""
        with ExitStack() as stack:
            stack.enter_context(self.bench_to_itself())
            settings = replace(line_settings(self.config.line), port=board.port or self.config.line.port)
            if board.scenario is not None:
                url = stack.enter_context(SimulatedBoard(board.scenario, board.speed))
                settings = LineSettings(url, rate_hz=self.config.line.rate_hz)
            yield stack.enter_context(LiveTicks(settings, self.config))


def open_workshop(config_path: Path | None, as_json: bool = False, **overrides: Any) -> Workshop:
    """Complaints about records that are not used go to standard error."""
    config = load(config_path, **overrides)
    return Workshop(config, calibration_in_force(config, _complain), as_json)


def _complain(complaint: str) -> None:
    print(f"boretight: {complaint}", file=sys.stderr)


def fine(unit: PressureUnit, pressure_pa: float, sign: bool = False) -> str:
    """A small pressure with its unit, two digits more than a reading deserves."""
    return f"{pressure_pa / unit.pa:{'+' if sign else ''}.{unit.decimals + 2}f} {unit.value}"


def board_name(board: records.Board) -> str:
    """Which board it was, as it says itself."""
    return " ".join(word for word in (board.maker, board.model, board.serial) if word)
