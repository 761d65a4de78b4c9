"""`boretight board ...`."""

from pathlib import Path
from typing import Annotated

import typer

from daq.cli.commands.options import JsonOption, example, group

board_app = group("Look after the board.")


@board_app.command("check", **example("boretight board check /dev/ttyUSB0 --report board.html"))
def board_check(
    port: Annotated[str, typer.Argument(help="Path or URL of the board.")],
    baud: Annotated[int, typer.Option(help="Line speed.")] = 115_200,
    seconds: Annotated[float, typer.Option(min=2, max=3600, help="How long the stream is watched.")] = 60.0,
    quick: Annotated[bool, typer.Option("--quick", help="Watch the stream for some seconds only.")] = False,
    alone: Annotated[bool, typer.Option("--alone", help="Nobody is at the board: ask for no reset, no press.")] = False,
    report: Annotated[Path | None, typer.Option(help="Also write a report: a .html, .txt or .json file.")] = None,
    json: JsonOption = False,
) -> None:
    """Check a board against the specification and say what conforms. Ends with 76 if something does not."""
    from daq.cli.board import QUICK_S
    from daq.cli.board import check as command

    command(port, baud, QUICK_S if quick else seconds, json, report, alone)
