"""The reference firmware for tests: built by its own Makefile, run as a process or on a simulated microcontroller."""

from __future__ import annotations

import itertools
import shutil
import subprocess
import threading
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import IO

REFERENCE = Path(__file__).parents[2] / "firmware_spec" / "reference"
BUILD = REFERENCE / "build"
PACKAGES = {
    "make": "make", "gcc": "gcc", "clang": "clang", "avr-gcc": "gcc-avr avr-libc", "avr-objcopy": "binutils-avr",
}  # fmt: skip
INSTALL = f"sudo apt-get install {' '.join(PACKAGES.values())} libclang-rt-dev libsimavr-dev libelf-dev"
IDLE_STEP_US = 5000


def made(*targets: str, folder: Path = REFERENCE, **variables: object) -> str:
    """What `make` says when it makes these targets. Fails, saying what is missing or wrong, when it cannot."""
    missing = [name for name in PACKAGES if shutil.which(name) is None]
    assert not missing, f"the firmware needs {missing}; next: {INSTALL}"
    settings = [f"{name}={value}" for name, value in variables.items()]
    command = ["make", "--no-print-directory", "-j2", "-C", str(folder), *targets, *settings]
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}\nIf something is missing: {INSTALL}"
    return done.stdout


class Microcontroller:
    """A firmware image on the test bench of `firmware_spec/reference/bench`, as a context. Its time is simulated: it
    passes in `run` and nowhere else, and the same orders give the same bytes. Voltages are those at the inputs."""

    def __init__(self, image: Path, *, i2c: bool = False) -> None:
        command = [str(BUILD / "bench"), str(image), "--orders", *(["--i2c"] if i2c else [])]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.now_us = 0

    def __enter__(self) -> Microcontroller:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._stdin.close()
        self._process.wait(10)

    @property
    def _stdin(self) -> IO[str]:
        assert self._process.stdin is not None
        return self._process.stdin

    def order(self, *words: object) -> None:
        """One of the orders of bench/README.md that have no answer."""
        self._stdin.write(" ".join(map(str, words)) + "\n")

    def ask(self, *words: object) -> list[str]:
        """The words of the answer to an order, without the first."""
        self.order(*words)
        self._stdin.flush()
        assert self._process.stdout is not None
        answer = self._process.stdout.readline().split()
        assert answer, f"the bench ended at {words}"
        return answer[1:]

    def run(self, microseconds: int) -> bytes:
        """What the firmware sends meanwhile."""
        now_us, *sent = self.ask("run", microseconds)
        self.now_us = int(now_us)
        return bytes.fromhex("".join(sent))

    def send(self, data: bytes) -> None:
        self.order("send", data.hex())

    def play(self, orders: Iterable[str]) -> Iterator[tuple[float, bytes]]:
        """Orders in a row, none of which waits for the answers of those before: time and what was sent, for each `run`
        and `await` among them. The bench works while the orders are still being made up."""
        writer = threading.Thread(target=self._write, args=(orders,), daemon=True)
        writer.start()
        assert self._process.stdout is not None
        while (answer := self._process.stdout.readline().split())[0] != "light":
            self.now_us = int(answer[1])
            yield self.now_us / 1e6, bytes.fromhex("".join(answer[2:]))
        writer.join()

    def _write(self, orders: Iterable[str]) -> None:
        """The last order has an answer of another kind."""
        for order in itertools.chain(orders, ["light"]):
            self._stdin.write(order + "\n")
        self._stdin.flush()

    def exchange(self, data: bytes, microseconds: int = 200_000) -> bytes:
        self.send(data)
        return self.run(microseconds)


class SimulatedPort:
    """A microcontroller as an open port whose time is simulated: reading lets it pass. At the times of `orders`, in
    seconds, something happens to the board."""

    def __init__(self, board: Microcontroller, orders: Mapping[float, str]) -> None:
        self.timeout: float | None = None
        self._board = board
        self._orders = dict(orders)

    @property
    def in_waiting(self) -> int:
        return 0

    def clock(self) -> float:
        return self._board.now_us / 1e6

    def read(self, size: int = 1, /) -> bytes:
        for time_s in sorted(self._orders):
            if time_s <= self.clock():
                self._board.order(self._orders.pop(time_s))
        return self._board.run(IDLE_STEP_US)

    def write(self, data: bytes, /) -> int:
        self._board.send(data)
        return len(data)
