"""A bench for tests of the whole: real programs in processes of their own, in a folder and a home of their own."""

from __future__ import annotations

import fcntl
import os
import pty
import signal
import socket
import sqlite3
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from simulator.scenario import built_in
from tests.suites.brokers import Mosquitto, free_port

PATIENCE_S = 60.0
"""How long a test waits before it says that something never came; never how long something may take."""

SCRIPTS = Path(sys.executable).parent
"""Where the commands are that this environment has installed."""

BENCH = "garage"
CONFIG = """\
bench = "{bench}"
[engine]
name = "invented four"
firing_order = "{order}"
[storage]
folder = "{folder}"
[mqtt]
port = {port}
{host}
[cues]
sound = false
"""


AnyRunning = TypeVar("AnyRunning", bound="Running")


class Running:
    """A program that runs until it is told to end. What it says is kept in a file, `said`."""

    def __init__(self, command: list[str], log: Path, env: Mapping[str, str]) -> None:
        self._log = log
        with log.open("wb") as out:
            self.process = self._start(command, out, env)

    def _start(self, command: list[str], out: BinaryIO, env: Mapping[str, str]) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT, env=env, start_new_session=True
        )

    @property
    def pid(self) -> int:
        return self.process.pid

    @property
    def said(self) -> str:
        return self._log.read_text(encoding="utf-8", errors="replace")  # what is read may end within a character

    def until(self, condition: Callable[[], object], what: str) -> None:
        """Wait for something that this program, while it lives, should make come true."""
        last_s = time.monotonic() + PATIENCE_S
        while not condition():
            assert self.process.poll() is None, f"ended before {what}, saying:\n{self.said}"
            assert time.monotonic() < last_s, f"never came: {what}. It said:\n{self.said}"
            time.sleep(0.02)

    def end(self, number: int = signal.SIGTERM) -> int:
        """Send a signal and return the exit code."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_S)


class InTerminal(Running):
    """A program in the foreground of a terminal of 24 lines of 80 columns."""

    def _start(self, command: list[str], out: BinaryIO, env: Mapping[str, str]) -> subprocess.Popen[bytes]:
        self._keyboard, screen = pty.openpty()
        fcntl.ioctl(screen, termios.TIOCSWINSZ, struct.pack("4H", 24, 80, 0, 0))
        process = subprocess.Popen(
            command, stdin=screen, stdout=screen, stderr=screen, env=env, start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )  # fmt: skip
        os.close(screen)
        threading.Thread(target=self._look, daemon=True).start()
        return process

    def _look(self) -> None:
        """What appears on the screen goes to the file, until nobody has the terminal open any more."""
        with self._log.open("ab", buffering=0) as seen, suppress(OSError):
            while data := os.read(self._keyboard, 65_536):
                seen.write(data)

    def type(self, keys: bytes) -> None:
        os.write(self._keyboard, keys)


@dataclass
class Bench:
    """A folder with a configuration, programs that use it, and the database that they leave there.

    Without `broker` the daemon brings its own, on `mqtt_port`.
    """

    folder: Path
    broker: Mosquitto | None = None
    order: str = "1-3-4-2"
    mqtt_port: int = field(default_factory=free_port)
    programs: list[Running] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.storage = self.folder / "data"
        self.link = self.folder / "board"
        if self.broker is not None:
            self.mqtt_port = self.broker.port

    @property
    def env(self) -> dict[str, str]:
        """Of somebody who has never used boretight."""
        inherited = {name: value for name, value in os.environ.items() if not name.startswith(("BORETIGHT_", "XDG_"))}
        return inherited | {"HOME": str(self.folder / "home"), "COLUMNS": "120"}

    @property
    def config(self) -> Path:
        path = self.folder / "boretight.toml"
        host = 'host = "127.0.0.1"' if self.broker else ""
        path.write_text(
            CONFIG.format(bench=BENCH, order=self.order, folder=self.storage, port=self.mqtt_port, host=host)
        )
        return path

    def start(self, program: str, *arguments: object) -> Running:
        return self._started(Running(*self._what(program, arguments)))

    def start_in_terminal(self, program: str, *arguments: object) -> InTerminal:
        return self._started(InTerminal(*self._what(program, arguments)))

    def _what(self, program: str, arguments: Sequence[object]) -> tuple[list[str], Path, dict[str, str]]:
        log = self.folder / f"{len(self.programs)}-{program}.txt"
        return [str(SCRIPTS / program), *map(str, arguments)], log, self.env

    def _started(self, running: AnyRunning) -> AnyRunning:
        self.programs.append(running)
        return running

    def daemon(self, *options: object) -> Running:
        """`boretight run` on the pseudo-terminal of `board`, unless the options name another port."""
        port = [] if {"--port", "--simulate"} & set(options) else ["--port", self.link]
        return self.start("boretight", "run", "--config", self.config, "--no-screen", *port, *options)

    def board(self, scenario: object, speed: float, *options: object) -> Running:
        """A simulated board on a pseudo-terminal; it is there when this returns."""
        board = self.start(
            "boretight-simulator", "serve", scenario, "--pty", "--link", self.link, "--speed", speed, *options
        )
        board.until(self.link.exists, "a board on its line")
        return board

    def lasting(self, name: str) -> Path:
        """A built-in scenario whose board goes on after its end, however late a daemon looks at it."""
        path = self.folder / f"lasting-{name}.toml"
        path.write_text(f"tail_s = 100000.0\n{built_in()[name]}", encoding="utf-8")
        return path

    def piped(self, *arguments: object) -> subprocess.Popen[bytes]:
        """`boretight` with these arguments, its output for the caller to read or not; to be waited for."""
        command = [str(each) for each in (SCRIPTS / "boretight", *arguments)]
        return subprocess.Popen(command, env=dict(self.env), stdout=subprocess.PIPE, stderr=subprocess.PIPE)

    def run(self, *arguments: object) -> subprocess.CompletedProcess[str]:
        """`boretight` with these arguments, to its end."""
        return completed([SCRIPTS / "boretight", *arguments], self.env)

    def close(self) -> None:
        """The end of all that still runs."""
        for running in self.programs:
            if running.process.poll() is None:
                running.end(signal.SIGKILL)

    # ---- what is stored

    @property
    def database(self) -> Path:
        return self.storage / "boretight.db"

    @property
    def raw_logs(self) -> list[Path]:
        """In the order in which they were begun."""
        return sorted((self.storage / "raw").glob("*.btlog"))

    def rows(self, query: str, *values: object) -> list[dict[str, Any]]:
        """As any SQLite tool sees them; none as long as there is no such table."""
        if not self.database.exists():
            return []
        with closing(sqlite3.connect(f"file:{self.database}?mode=ro", uri=True, timeout=PATIENCE_S)) as connection:
            connection.row_factory = sqlite3.Row
            try:
                return [dict(row) for row in connection.execute(query, values)]
            except sqlite3.OperationalError as error:
                if "no such table" in str(error):
                    return []
                raise

    def kinds(self) -> list[str]:
        """The events that are stored, in order."""
        return [row["kind"] for row in self.rows("SELECT kind FROM event ORDER BY id")]

    def results(self) -> list[dict[str, Any]]:
        return self.rows("SELECT * FROM cylinder_result ORDER BY id")


def completed(command: Sequence[object], env: Mapping[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*map(str, command)], capture_output=True, text=True, env=env, timeout=PATIENCE_S)


def answers(port: int) -> bool:
    """Whether something listens there, on loopback."""
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
        return True
    return False
