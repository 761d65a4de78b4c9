"""What a program must not bring in: each of these costs a start a tenth of a second, or a daemon megabytes for good."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

EVERYWHERE = ("pydantic_settings", "amqtt", "starlette", "uvicorn", "typst", "segno", "pyarrow", "scipy", "simulator")
LOOP = ("asyncio", "concurrent.futures", "ssl")
DATABASE, MESSAGES = "daq.sinks.store.store", "daq.sinks.payloads"
DAEMON = "daq.daemon.daemon"

ASKS_THE_DATABASE = ("history", "report", "test", "finding", "budget", "export")
ASKS_A_BENCH = ("mark", "page", "ports", "calibration")
FILES = ("show_config", "engine_profiles", "engine_tdc")


def run(code: str, **environment: str) -> list[str]:
    """The words that it prints, in a fresh interpreter."""
    inherited = {name: value for name, value in os.environ.items() if not name.startswith(("BORETIGHT_", "OPENBLAS_"))}
    command = [sys.executable, "-c", code]
    return subprocess.run(
        command, env=inherited | environment, capture_output=True, text=True, check=True
    ).stdout.split()


def loaded(code: str, unwanted: tuple[str, ...]) -> list[str]:
    """Which of the modules that are not wanted are there after it."""
    return run(f"import sys\n{code}\nprint(*sorted({set(unwanted)!r} & sys.modules.keys()))")


@pytest.mark.parametrize("command", ASKS_THE_DATABASE)
def test_a_command_that_asks_the_database_starts_no_event_loop(command: str) -> None:
    assert loaded(f"import daq.cli.{command}", (*EVERYWHERE, *LOOP, DATABASE, MESSAGES, DAEMON, "rich.live")) == []


@pytest.mark.parametrize("command", ASKS_A_BENCH)
def test_a_command_that_asks_a_bench_needs_neither_daemon_nor_database(command: str) -> None:
    assert loaded(f"import daq.cli.{command}", (*EVERYWHERE, DATABASE, MESSAGES, DAEMON)) == []


def test_watch_needs_the_messages_of_a_bench_and_no_more() -> None:
    assert loaded("import daq.cli.watch", (*EVERYWHERE, DATABASE, DAEMON, "rich.live")) == []


@pytest.mark.parametrize("command", FILES)
def test_a_command_that_looks_at_files_needs_no_more_than_them(command: str) -> None:
    assert loaded(f"import daq.cli.{command}", (*EVERYWHERE, *LOOP, DATABASE, MESSAGES, DAEMON, "sqlite3")) == []


def test_the_configuration_reads_the_environment_only_where_it_says_something() -> None:
    code = "from daq.config import load; load()"
    assert loaded(code, ("pydantic_settings",)) == []
    told = run(f"{code}; import sys; print('pydantic_settings' in sys.modules)", BORETIGHT_BENCH="garage")
    assert told == ["True"]


def test_help_needs_neither_numpy_nor_pydantic() -> None:
    """The words of the command line are light: what a command does is imported when it runs."""
    assert loaded("import daq.cli.main", ("numpy", "pydantic", "asyncio", "daq.procedure", "daq.config")) == []


@pytest.mark.parametrize(("said", "threads"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "2"}, "2")])
def test_one_thread_is_enough_for_numpy_unless_the_user_says_otherwise(said: dict[str, str], threads: str) -> None:
    """Set before numpy is imported, and for the programs that are started too."""
    code = (
        "import os, sys, contextlib, io, daq.cli.main\n"
        "assert 'numpy' not in sys.modules\n"
        "sys.argv = ['boretight', '--help']\n"
        "with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):\n"
        "    daq.cli.main.main()\n"
        "print(os.environ['OPENBLAS_NUM_THREADS'])"
    )
    assert run(code, **said) == [threads]
