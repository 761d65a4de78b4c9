"""`boretight board ...`."""

from __future__ import annotations

from typing import Annotated

import typer

from daq.cli.commands.options import JsonOption, example, group

board_app = group("Look after the board.")


@board_app.command("check", **example("boretight board check /dev/ttyUSB0"))
def board_check(
    port: Annotated[str, typer.Argument(help="Path or URL of the board.")],
    baud: Annotated[int, typer.Option(help="Line speed.")] = 115_200,
    seconds: Annotated[float, typer.Option(min=2, max=600, help="How long the stream is watched.")] = 10.0,
    json: JsonOption = False,
) -> None:
    """Check a board against the specification and say what conforms."""
    from daq.cli.board import check as command

    command(port, baud, seconds, json)
