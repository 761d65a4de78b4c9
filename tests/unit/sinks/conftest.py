"""Running a piece of the program in a child process, to be killed or starved."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
Child = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def child() -> Iterator[Child]:
    """Start `script` with arguments in a fresh interpreter; what still runs at the end of the test is killed."""
    with ExitStack() as stack:

        def start(script: str, *arguments: object) -> subprocess.Popen[str]:
            command = [sys.executable, "-c", script, *map(str, arguments)]
            process = stack.enter_context(subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True))
            stack.callback(process.kill)
            return process

        yield start
