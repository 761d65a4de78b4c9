"""What the commands have in common: options of the same name mean the same everywhere."""

from pathlib import Path
from typing import Annotated, Any

import typer

ConfigOption = Annotated[
    Path | None, typer.Option("--config", "-c", help="Configuration file; by default that of your user.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for a program to read.")]
PortOption = Annotated[str | None, typer.Option("--port", help="Path or URL of the board, not the configured one.")]
DatabaseOption = Annotated[Path | None, typer.Option(help="The database, instead of the configured one.")]
BenchOption = Annotated[str | None, typer.Option(help="Which bench, instead of the configured one.")]
HostOption = Annotated[str | None, typer.Option(help="The broker, instead of the configured one.")]
MqttPortOption = Annotated[int | None, typer.Option("--mqtt-port", help="Its port.")]
NoteOption = Annotated[str, typer.Option("--note", help="Anything worth remembering.")]
SimulateOption = Annotated[bool, typer.Option("--simulate", help="Use a simulated board; none is needed.")]
ScenarioOption = Annotated[str, typer.Option(help="What the simulated board plays: a name or a TOML file.")]
SpeedOption = Annotated[float, typer.Option(min=0.1, max=100, help="Pace of the simulated board.")]
ScreenOption = Annotated[bool | None, typer.Option("--screen/--no-screen", help="The live face.")]


def group(text: str | None = None) -> typer.Typer:
    """Commands that stand together; without `text` they are added to those of the top."""
    return typer.Typer(help=text, no_args_is_help=True, rich_markup_mode=None)


def example(text: str) -> dict[str, Any]:
    """The epilogue of a command: how it is used."""
    return {"epilog": f"Example: {text}"}
