"""The command line: its groups of commands, and how it ends."""

from __future__ import annotations

import os
import sys

import typer

from daq.cli.commands.bench import bench_app
from daq.cli.commands.board import board_app
from daq.cli.commands.calibration import calibrate_app, calibration_app
from daq.cli.commands.data import data_app
from daq.cli.commands.engine import engine_app
from daq.cli.commands.test import finding_app, report_app, test_app
from daq.errors import BoretightError, UsageError

WRONG_WORDS = 2
"""How typer ends when it does not understand the command line, as is common; here sysexits.h holds for all errors."""

app = typer.Typer(
    name="boretight",
    help="Bridge and data acquisition for a cylinder leak-down tester on a serial line.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
for at_the_top in (bench_app, report_app, data_app):
    app.add_typer(at_the_top)
app.add_typer(test_app, name="test")
app.add_typer(finding_app, name="finding")
app.add_typer(engine_app, name="engine")
app.add_typer(board_app, name="board")
app.add_typer(calibrate_app, name="calibrate")
app.add_typer(calibration_app, name="calibration")


def main() -> None:
    """The entry point: errors on standard error, in words, with an exit code that means something."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # its threads double numpy's import; no matrix here is large
    try:
        app()
    except BoretightError as error:
        print(f"boretight: {error}", file=sys.stderr)
        sys.exit(error.exit_code)
    except SystemExit as ended:
        sys.exit(UsageError.exit_code if ended.code == WRONG_WORDS else ended.code)


if __name__ == "__main__":
    main()
