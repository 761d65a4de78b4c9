"""`boretight report`, `history`, `test show`, `finding ...`: the words of the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

finding_app = typer.Typer(
    help="What was heard or seen, added to a stored test.", no_args_is_help=True, rich_markup_mode=None
)

TestArgument = Annotated[str, typer.Argument(help="The name of a test, its begin, or `last`.")]
DatabaseOption = Annotated[Path | None, typer.Option(help="The database, instead of the configured one.")]
LimitsOption = Annotated[str, typer.Option(help="common, ac43, or two losses of your own like 8,12.")]
ConfigOption = Annotated[
    Path | None, typer.Option("--config", "-c", help="Configuration file; by default that of your user.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for a program to read.")]


def report(
    test: TestArgument = "last",
    html: Annotated[Path | None, typer.Option(help="Write a page, to read, to print or to send.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Write it as PDF.")] = None,
    png: Annotated[Path | None, typer.Option(help="Write the chart of the cylinders as a picture.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the figures, a row a cylinder; `-` prints them.")] = None,
    json: Annotated[Path | None, typer.Option(help="Write all figures as JSON; `-` prints them.")] = None,
    database: DatabaseOption = None,
    units: Annotated[str | None, typer.Option(help="psi, kPa or bar; as configured by default.")] = None,
    limits: LimitsOption = "common",
    paper: Annotated[str, typer.Option(help="Of the PDF: a4 or letter.")] = "a4",
    config: ConfigOption = None,
) -> None:
    """Make the report of a test. Without a format: a page next to the database."""
    from daq.cli.report import Asked, Wanted
    from daq.cli.report import report as command

    command(Asked(test, database, units, limits, config), Wanted(html, pdf, png, csv, json), paper)


def test_show(
    test: TestArgument = "last",
    limits: LimitsOption = "common",
    database: DatabaseOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show a test: each cylinder as found and after taps, the verdicts, and what to do."""
    from daq.cli.report import Asked, show

    show(Asked(test, database, None, limits, config), json)


def history(
    engine: Annotated[str, typer.Argument(help="Its name as tests have it, or the key of its profile.")],
    axis: Annotated[str, typer.Option(help="date, hours or distance.")] = "date",
    limits: LimitsOption = "common",
    database: DatabaseOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show how each cylinder of an engine went over its tests: trend, change since last time, when a limit is met."""
    from daq.cli.history import history as command

    command(engine, axis, limits, database, config, json)


@finding_app.command("add", epilog='Example: boretight finding add last "3: exhaust clear"')
def finding_add(
    test: TestArgument,
    finding: Annotated[str, typer.Argument(help="CYLINDER: PLACE [none, faint or clear] [words].")],
    database: DatabaseOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Add what was heard or seen to a test that is over; its report counts it from then on."""
    from daq.cli.finding import add

    add(test, finding, database, config, json)


@finding_app.command("take-back", epilog="Example: boretight finding take-back last 2")
def finding_take_back(
    test: TestArgument,
    number: Annotated[int, typer.Argument(help="Its number, as `boretight finding list` shows it.")],
    database: DatabaseOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Take a finding back: it stays listed, and does not count."""
    from daq.cli.finding import take_back

    take_back(test, number, database, config, json)


@finding_app.command("list", epilog="Example: boretight finding list last")
def finding_list(
    test: TestArgument = "last", database: DatabaseOption = None, config: ConfigOption = None, json: JsonOption = False
) -> None:
    """List the findings of a test, with when they were added."""
    from daq.cli.finding import list_findings

    list_findings(test, database, config, json)


def register(app: typer.Typer, test_app: typer.Typer) -> None:
    """Adds these commands to those of `boretight`."""
    app.command(epilog="Example: boretight report last --pdf report.pdf")(report)
    app.command(epilog="Example: boretight history v8 --axis hours")(history)
    test_app.command("show", epilog="Example: boretight test show last")(test_show)
    app.add_typer(finding_app, name="finding")
