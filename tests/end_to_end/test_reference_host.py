"""The reference firmware as a process on a pseudo-terminal, in the place of the simulator: same URL, same daemon."""

from __future__ import annotations

import json
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO

import pytest
import serial

from daq.errors import ProtocolError, UsageError
from daq.wire import Decoder, Frame, Reply
from tests.end_to_end.bench import PATIENCE_S, Bench, Running
from tests.suites.firmware import BUILD, made

VECTORS = Path(__file__).parents[2] / "firmware_spec" / "vectors"
VECTORS_BOARD = "Invented Instruments,Bench Board,0042,1.0.3"
SUPPLY_PA, LEAKING_PA, TIGHT_PA = 689_476, 634_318, 675_686
"""100 psi, and behind the restrictor 92 psi and 98 psi."""


class Board(Running):
    """The host port of the firmware; lines on its standard input change the air that it measures."""

    def _start(self, command: list[str], out: BinaryIO, env: Any) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=out, stderr=subprocess.STDOUT, env=env, start_new_session=True
        )

    def tell(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n".encode())
        self.process.stdin.flush()


StartBoard = Callable[..., Board]


@pytest.fixture(scope="module")
def program() -> Path:
    made("native")
    return BUILD / "board"


@pytest.fixture
def start(program: Path, bench: Bench) -> StartBoard:
    """Starts a board behind the link of the bench; it is there when this returns."""

    def started(*options: str) -> Board:
        command = [str(program), "--link", str(bench.link), *options]
        board = Board(command, bench.folder / f"{len(bench.programs)}-board.txt", bench.env)
        bench.programs.append(board)
        board.until(bench.link.exists, "a board on its line")
        return board

    return started


class Line:
    """A host that writes and listens, without a daemon."""

    def __init__(self, path: Path) -> None:
        self._port = serial.Serial(str(path), 115_200, timeout=0.01, exclusive=True)
        self._decoder = Decoder()

    def close(self) -> None:
        self._port.close()

    def replies(self, data: bytes, board: Board, count: int) -> list[bytes]:
        """The lines of the replies to `data`, when so many have come."""
        found: list[Reply] = []
        self._port.write(data)

        def enough() -> bool:
            frames: list[Frame] = self._decoder.feed(self._port.read(4096))
            found.extend(frame for frame in frames if isinstance(frame, Reply))
            return len(found) >= count

        board.until(enough, f"{count} replies to {data!r}")
        return [reply.encode() for reply in found]


def load(name: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads((VECTORS / f"{name}.json").read_text(encoding="ascii"))
    return rows


@pytest.fixture
def line(bench: Bench) -> Iterator[Callable[[], Line]]:
    opened: list[Line] = []

    def open_line() -> Line:
        opened.append(Line(bench.link))
        return opened[-1]

    yield open_line
    for each in opened:
        each.close()


@pytest.mark.parametrize("session", load("sessions"), ids=lambda session: session["name"])
def test_a_session_of_the_vectors(start: StartBoard, line: Callable[[], Line], session: dict[str, Any]) -> None:
    board = start("--identity", VECTORS_BOARD)
    host = line()
    for step in session["steps"]:
        wanted = [f"{reply}\n".encode() for reply in step["replies"]]
        assert host.replies(step["send"].encode("latin-1"), board, len(wanted)) == wanted


def test_each_command_of_the_vectors(start: StartBoard, line: Callable[[], Line]) -> None:
    """Understood or refused, each on a stopped board."""
    board = start()
    host = line()
    for row in load("commands"):
        refused_or_not, stopped = host.replies(row["line"].encode("latin-1") + b"\n@BEEF ABOR\n", board, 2)
        assert refused_or_not.startswith(f"R,{row['tag']:04X},{row.get('error', 0)},".encode()), row
        assert stopped.startswith(b"R,BEEF,0,*")


CALIBRATIONS = b"CAL:DATA CYL,-498200,258710,20250111\nCAL:DATA SUPP,500000,258553,20250110\n"


def test_the_check_finds_that_it_conforms(start: StartBoard, bench: Bench, line: Callable[[], Line]) -> None:
    """In all that there is: in a terminal it asks for resets and presses, and a report is left to hand over."""
    board = start()
    host = line()
    host.replies(CALIBRATIONS, board, 2)
    host.close()
    report = bench.folder / "board.html"
    check = bench.start_in_terminal("boretight", "board", "check", bench.link, "--seconds", 3, "--report", report)
    check.until(lambda: ">> Reset the board" in check.said, "a request for resets")
    for cause in (2, 1):
        board.tell(f"reset {cause}")
        time.sleep(0.5)
    check.until(lambda: ">> Press the mark button" in check.said, "a request for presses")
    for pressed in (1, 0) * 3:
        board.tell(f"button {pressed}")
        time.sleep(0.15)
    assert check.process.wait(PATIENCE_S) == 0, check.said
    summary = "The board conforms in all that was checked: 34 requirements kept, 0 broken."
    assert summary in check.said
    page = report.read_text(encoding="utf-8")
    assert summary in page and "Boretight,Reference Host,0,1.0" in page and "236 Hz" in page


def test_a_board_that_does_not_conform_ends_the_check_with_its_own_code(bench: Bench) -> None:
    bench.board("bare", 1)
    report = bench.folder / "board.json"
    checked = bench.run("board", "check", bench.link, "--quick", "--report", report)
    assert checked.returncode == ProtocolError.exit_code, checked.stdout
    assert "The board does not conform" in checked.stdout
    assert json.loads(report.read_text(encoding="utf-8"))["conforms"] is False


def test_a_report_of_an_unknown_kind_is_refused_before_anything_else(bench: Bench) -> None:
    refused = bench.run("board", "check", bench.link, "--report", "board.docx")
    assert refused.returncode == UsageError.exit_code and ".html" in refused.stderr


def test_the_calibration_outlives_the_process(start: StartBoard, bench: Bench, line: Callable[[], Line]) -> None:
    eeprom = str(bench.folder / "eeprom")
    first = start("--eeprom", eeprom)
    host = line()
    host.replies(CALIBRATIONS, first, 2)
    assert first.end() == 0
    host.close()
    second = start("--eeprom", eeprom)
    stored = line().replies(b"@0001 CAL:DATA? CYL\n@0002 CAL:STAT?\n", second, 2)
    assert [reply[: reply.index(b"*")] for reply in stored] == [b"R,0001,0,-498200,258710,20250111", b"R,0002,0,1"]


def test_the_daemon_measures_with_it(start: StartBoard, bench: Bench) -> None:
    """Air that is built up, a steady reading, a press, a restart, and another cylinder."""
    board = start()
    board.tell("pressures 0 0")
    daemon = bench.daemon()
    daemon.until(lambda: "link_change" in bench.kinds(), "a line")
    board.tell(f"pressures {SUPPLY_PA} {LEAKING_PA}")
    daemon.until(lambda: _losses(bench), "a reading")
    assert _losses(bench)[-1] == pytest.approx(8.0, abs=0.3)
    board.tell("button 1")
    daemon.until(lambda: "marked" in bench.kinds(), "a press")
    board.tell("button 0")
    readings = len(_losses(bench))
    board.tell("reset 4")
    daemon.until(lambda: "restarted" in bench.kinds(), "a restart")
    board.tell(f"pressures {SUPPLY_PA} {TIGHT_PA}")
    daemon.until(lambda: len(_losses(bench)) > readings, "a reading after the restart")
    assert _losses(bench)[-1] == pytest.approx(2.0, abs=0.3)
    assert daemon.end() == 0


def _losses(bench: Bench) -> list[float]:
    rows = bench.rows("SELECT supply_gauge_pa, cylinder_gauge_pa FROM stable_reading ORDER BY id")
    return [100.0 * (1.0 - row["cylinder_gauge_pa"] / row["supply_gauge_pa"]) for row in rows]
