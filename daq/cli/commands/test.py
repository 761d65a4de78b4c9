"""`boretight test ...`, `report`, `history`, `finding ...`: tests of engines, and what is made of them."""

from pathlib import Path
from typing import Annotated, Any

import typer

from daq.cli.commands.options import (
    BenchOption,
    ConfigOption,
    DatabaseOption,
    HostOption,
    JsonOption,
    MqttPortOption,
    NoteOption,
    example,
    group,
)
from daq.errors import UsageError

test_app = group("Test an engine, cylinder by cylinder.")
report_app = group()
finding_app = group("What was heard or seen, added to a stored test.")

TestArgument = Annotated[str, typer.Argument(help="The name of a test, its begin, or `last`.")]
LimitsOption = Annotated[str, typer.Option(help="common, ac43, or two losses of your own like 8,12.")]


@test_app.command("start", **example("boretight test start v8 --hot"))
def test_start(
    engine: Annotated[str, typer.Argument(help="Key of a profile; the configured engine by default.")] = "",
    name: Annotated[str, typer.Option(help="A name for the test.")] = "",
    hot: Annotated[bool, typer.Option("--hot", help="The engine is at working temperature.")] = False,
    cold: Annotated[bool, typer.Option("--cold", help="The engine is cold.")] = False,
    soft_step: Annotated[bool, typer.Option("--soft-step", help="A low pressure first, on each cylinder.")] = False,
    hours: Annotated[float | None, typer.Option(min=0, help="Hours the engine has run.")] = None,
    distance_km: Annotated[float | None, typer.Option(min=0, help="Kilometres it has run.")] = None,
    by: Annotated[str, typer.Option(help="Who tests.")] = "",
    note: NoteOption = "",
    acknowledged_by: Annotated[str, typer.Option(help="Who has read the cautions; asked for otherwise.")] = "",
    bench: BenchOption = None,
    host: HostOption = None,
    mqtt_port: MqttPortOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Start the test of an engine on a running bench; from then on the pressures drive it."""
    from daq.cli.mark import Bench
    from daq.cli.test import start
    from daq.planning import request_of

    if hot and cold:
        raise UsageError("An engine is hot or cold, not both.", "Leave both out where it is not known.")
    temperature = "hot" if hot else "cold" if cold else "unknown"
    said: dict[str, Any] = {"engine": engine, "test": name, "temperature": temperature}
    said["acknowledged_by"] = acknowledged_by
    said |= {"soft_step": soft_step, "hours": hours, "distance_km": distance_km, "by": by, "note": note}
    request = request_of(said)
    start(request, Bench(bench, host, mqtt_port, config), json)


@test_app.command("list", **example("boretight test list"))
def test_list(
    database: DatabaseOption = None,
    most: Annotated[int, typer.Option(min=1, help="How many of them.")] = 20,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """List the tests that are stored, the newest first."""
    from daq.cli.test import list_tests

    list_tests(database, config, most, json)


@test_app.command("show", **example("boretight test show last"))
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


@report_app.command(**example("boretight report last --pdf report.pdf"))
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


@report_app.command(**example("boretight history v8 --axis hours"))
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


@finding_app.command("add", **example('boretight finding add last "3: exhaust clear"'))
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


@finding_app.command("take-back", **example("boretight finding take-back last 2"))
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


@finding_app.command("list", **example("boretight finding list last"))
def finding_list(
    test: TestArgument = "last", database: DatabaseOption = None, config: ConfigOption = None, json: JsonOption = False
) -> None:
    """List the findings of a test, with when they were added."""
    from daq.cli.finding import list_findings

    list_findings(test, database, config, json)
