"""A program whose output nobody reads any more ends without a complaint."""

from __future__ import annotations

import os
import subprocess
import sys

PROGRAM = """\
import sys
from daq.cli.output import fall_silent
sys.stdin.readline()
sys.stdout.write("what nobody reads")
{then}
"""


def ended(then: str) -> tuple[int, bytes]:
    command = [sys.executable, "-c", PROGRAM.format(then=then)]
    buffered = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    pipe = subprocess.PIPE
    program = subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, env=buffered)
    assert program.stdin and program.stdout and program.stderr
    with program:
        program.stdout.close()
        program.stdin.write(b"go on\n")
        program.stdin.close()
        return program.wait(), program.stderr.read()


def test_what_is_left_in_the_buffer_goes_nowhere() -> None:
    assert ended("fall_silent()") == (0, b"")
    assert ended("pass")[0] != 0
