"""Three boards behind one URL, and one daemon that cannot tell which: the simulator, the firmware as a process, and the
firmware on a simulated microcontroller. The same physics is at the inputs of all."""

from __future__ import annotations

import json
import subprocess
import threading
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, BinaryIO

import pytest

from simulator.scenario import Scenario, load
from simulator.truth import truth
from tests.end_to_end.bench import Bench, Running
from tests.end_to_end.stored import agrees_with_truth
from tests.suites.cosimulation import (
    HOST_WILL_START,
    I2C,
    OWN,
    Course,
    HostCourse,
    Wiring,
    bad_electronics,
    calibrated,
    rotting,
)
from tests.suites.firmware import BUILD, made

pytestmark = pytest.mark.timeout(400)

ONE_DEBRIS = Path(__file__).with_name("scenarios") / "one-debris.toml"
SPEED = 8
TOLD = ("air_change", "tap", "cylinder_done", "test_done", "marked", "board_fault", "restarted")
"""Events that are the same whatever the noise of a board is."""


class Played(Running):
    """A program that is told, line by line, what happens to it, as fast as it takes that."""

    def __init__(self, bench: Bench, command: Iterable[object], lines: Iterable[str]) -> None:
        self._lines = lines
        super().__init__([*map(str, command)], bench.folder / f"{len(bench.programs)}-board.txt", bench.env)
        bench.programs.append(self)
        self.until(bench.link.exists, "a board on its line")

    def _start(self, command: list[str], out: BinaryIO, env: Any) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=out, stderr=subprocess.STDOUT, env=env, start_new_session=True
        )
        threading.Thread(target=self._tell, args=(process.stdin,), daemon=True).start()
        return process

    def _tell(self, stdin: BinaryIO) -> None:
        """The input stays open: a board does not end with its scenario."""
        try:
            for line in self._lines:
                stdin.write(f"{line}\n".encode())
            stdin.flush()
        except (OSError, ValueError):
            return  # the program was ended


def simulated(bench: Bench, path: Path) -> Running:
    return bench.board(path, SPEED, "--linger")


def host_port(bench: Bench, path: Path) -> Running:
    made("native")
    command = (BUILD / "board", "--link", bench.link, "--speed", SPEED)
    return Played(bench, command, HostCourse(load(str(path))).orders())


def microcontroller(bench: Bench, scenario: Scenario, wiring: Wiring, **more: Any) -> Running:
    made("avr", "bench")
    command = (BUILD / "bench", wiring.hex, "--link", bench.link, *(["--i2c"] if wiring.i2c else []))
    course = Course(scenario, wiring, restart=HOST_WILL_START, **more)
    return Played(bench, command, _lines(course))


def _lines(course: Course) -> Iterator[str]:
    yield from calibrated()
    yield from course.beginning()
    yield from HOST_WILL_START
    yield from course.orders()
    while True:  # a heartbeat each second, as long as somebody listens
        yield "run 100000"


def on_the_microcontroller(bench: Bench, path: Path) -> Running:
    return microcontroller(bench, load(str(path)), OWN)


def details(bench: Bench, *kinds: str) -> list[dict[str, Any]]:
    rows = bench.rows("SELECT kind, detail FROM event ORDER BY id")
    return [json.loads(row["detail"]) for row in rows if row["kind"] in kinds]


@pytest.mark.parametrize("start", [simulated, host_port, on_the_microcontroller])
def test_the_daemon_cannot_tell_them_apart(bench: Bench, start: Callable[[Bench, Path], Running]) -> None:
    bench.order = "1"
    start(bench, ONE_DEBRIS)
    daemon = bench.daemon()
    daemon.until(lambda: "restarted" in bench.kinds(), "the end of the scenario")
    assert daemon.end() == 0

    told = [kind for kind in bench.kinds() if kind in TOLD]
    assert told == [
        "air_change", "air_change", "tap", "tap", "air_change", "cylinder_done", "test_done", "marked", "board_fault",
        "restarted",
    ]  # fmt: skip
    (result,) = bench.results()
    (true,) = truth(load(str(ONE_DEBRIS)))
    agrees_with_truth(result, true)
    assert result["as_found_loss_at_set_pct"] == pytest.approx(true.as_found_loss_pct, abs=0.15)
    assert result["after_tap_loss_at_set_pct"] == pytest.approx(true.after_tap_loss_pct, abs=0.15)
    assert [one["cause"] for one in details(bench, "restarted")] == ["external"]
    assert [one["fault"] for one in details(bench, "board_fault")] == ["reference-low"]


@pytest.mark.parametrize("wiring", [OWN, I2C], ids=["own", "i2c"])
def test_a_whole_engine_on_a_bad_day(bench: Bench, wiring: Wiring) -> None:
    """Over a line, at whatever speed the machine has: what the daemon stores of it."""
    scenario = bad_electronics()
    microcontroller(bench, scenario, wiring, extra=rotting(scenario))
    daemon = bench.daemon()
    daemon.until(lambda: {"test_done", "marked"} <= set(bench.kinds()), "four cylinders and a press")
    assert daemon.end() == 0

    for result, true in zip(bench.results(), truth(scenario), strict=True):
        agrees_with_truth(result, true)
    assert [one["cause"] for one in details(bench, "restarted")] == ["watchdog", "external", "brown-out"]
    assert [one["fault"] for one in details(bench, "board_fault")] == ["reference-low"]
    assert [(one["kind"], one["source"]) for one in details(bench, "marked")] == [("next", "board")]
    assert [one["board"]["self_test"] for one in details(bench, "link_change") if one["up"]] == ["0", "0", "0", "8"]
    assert details(bench, "gap") == []
