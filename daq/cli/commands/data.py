"""`boretight replay`, `render`, `export`, `budget`, `config`: files, and what is stored."""

from pathlib import Path
from typing import Annotated

import typer

from daq.cli.commands.options import ConfigOption, DatabaseOption, JsonOption, example, group

data_app = group()


@data_app.command(**example("boretight replay 20261125-101500.btlog --into replayed.db"))
def replay(
    file: Annotated[Path, typer.Argument(help="A raw log (.btlog or .btlog.gz).")],
    into: Annotated[Path | None, typer.Option(help="Also store the result in this database.")] = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Run a raw log through the same pipeline, as fast as it goes, with its own calibration or another one."""
    from daq.cli.replay import replay as command

    command(file, into, config, json)


@data_app.command(**example("boretight render four-cylinder four.btlog --seed 7"))
def render(
    scenario: Annotated[str, typer.Argument(help="A built-in scenario, or a TOML file.")],
    out: Annotated[Path, typer.Argument(help="The raw log to write (.btlog or .btlog.gz).")],
    seed: Annotated[int, typer.Option(min=0, help="Same seed, same file.")] = 1,
    seconds: Annotated[float | None, typer.Option(min=0, help="Stop after so much simulated time.")] = None,
) -> None:
    """Render a simulated board straight to a raw log, to replay it."""
    from daq.cli.render import render as command

    command(scenario, out, seed, seconds)


@data_app.command(**example("boretight export stable --format csv --out stable.csv"))
def export(
    table: Annotated[str, typer.Argument(help="readings, stable, events, samples or cylinders.")],
    format: Annotated[str, typer.Option(help="csv, jsonl or parquet.")] = "csv",
    out: Annotated[Path | None, typer.Option(help="The file; standard output by default (not for parquet).")] = None,
    database: DatabaseOption = None,
    since: Annotated[
        str | None, typer.Option(help="Only rows from this time on, like 2026-11-25 or with a time.")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Write stored data as CSV, JSON lines or Parquet."""
    from daq.cli.export import export as command

    command(table, format, out, database, since, config)


@data_app.command(**example("boretight budget last"))
def budget(
    reading: Annotated[str, typer.Argument(help="The number of a stable reading, or `last`.")] = "last",
    database: DatabaseOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show what the uncertainty of a reading is made of, component by component."""
    from daq.cli.budget import budget as command

    command(reading, database, config, json)


@data_app.command(**example("boretight config --json"))
def config(config: ConfigOption = None, json: JsonOption = False) -> None:
    """Show the configuration in force and where it was read from."""
    from daq.cli.show_config import show as command

    command(config, json)
