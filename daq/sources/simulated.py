"""A simulated board, met as any other: at a serial URL, in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass, field
from types import TracebackType

from daq.errors import UnavailableError

GONE_S = 5.0


@dataclass(slots=True)
class SimulatedBoard:
    """`with SimulatedBoard("four-cylinder", speed=10) as url:` the board ends with the block, or with its scenario.

    It also ends when this process dies in whatever way: its standard input closes then.
    """

    scenario: str
    speed: float = 1.0
    seed: int = 1
    _process: subprocess.Popen[str] | None = field(default=None, init=False)

    def __enter__(self) -> str:
        way = ["--pty"] if os.name == "posix" else ["--tcp", "0"]
        command = [sys.executable, "-P", "-m", "simulator", "serve", self.scenario, *way]
        command += ["--speed", str(self.speed), "--seed", str(self.seed), "--exit-with-stdin", "--json"]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            start_new_session=True,
        )  # fmt: skip
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise UnavailableError(
                f"The simulated board did not start with scenario {self.scenario!r}.",
                todo="`boretight-simulator list` names the scenarios; a path to a TOML file works too.",
                evidence=self._last_words(),
            )
        url: str = json.loads(line)["url"]
        return url

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        process = self._process
        if process is None:
            return
        assert process.stdin is not None
        process.stdin.close()
        try:
            process.wait(GONE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        for pipe in (process.stdout, process.stderr):
            if pipe is not None:
                pipe.close()

    def _last_words(self) -> str:
        assert self._process is not None and self._process.stderr is not None
        words = self._process.stderr.read().strip()
        self._process.wait()
        return words[-500:]
