"""The command line. Each command imports what it needs when it runs: `--help` answers at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from daq.cli.engine import engine_app
from daq.cli.reporting import register as register_reporting
from daq.errors import BoretightError, UsageError

app = typer.Typer(
    name="boretight",
    help="Bridge and data acquisition for a cylinder leak-down tester on a serial line.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
board_app = typer.Typer(help="Look after the board.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(board_app, name="board")
calibrate_app = typer.Typer(
    help="Calibrate transducers and restrictor, pair the channels.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(calibrate_app, name="calibrate")
calibration_app = typer.Typer(
    help="Look at the calibrations that are kept.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(calibration_app, name="calibration")
test_app = typer.Typer(help="Test an engine, cylinder by cylinder.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(test_app, name="test")
app.add_typer(engine_app, name="engine")
register_reporting(app, test_app)

ConfigOption = Annotated[
    Path | None, typer.Option("--config", "-c", help="Configuration file; by default that of your user.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for a program to read.")]
PortOption = Annotated[str | None, typer.Option("--port", help="Path or URL of the board, not the configured one.")]
ByOption = Annotated[str | None, typer.Option("--by", help="Who calibrates; your user name by default.")]
NoteOption = Annotated[str, typer.Option("--note", help="Anything worth remembering.")]
AmbientOption = Annotated[float | None, typer.Option("--ambient-c", help="Air temperature at the bench, Celsius.")]
BarometerOption = Annotated[float | None, typer.Option("--ambient-kpa", help="Barometer at the bench, kPa.")]
UcdOption = Annotated[float, typer.Option("--u-cd", min=0, help="Standard uncertainty of the jets' Cd, percent.")]

WRONG_WORDS = 2
"""How typer ends when it does not understand the command line, as is common; here sysexits.h holds for all errors."""


def example(text: str) -> dict[str, Any]:
    """The epilogue of a command: how it is used."""
    return {"epilog": f"Example: {text}"}


@app.command(**example("boretight run --simulate"))
def run(
    config: ConfigOption = None,
    port: Annotated[str | None, typer.Option(help="Path or URL of the board, instead of the configured one.")] = None,
    simulate: Annotated[bool, typer.Option("--simulate", help="Use a simulated board; none is needed.")] = False,
    scenario: Annotated[str, typer.Option(help="What the simulated board plays: a name or a TOML file.")] = "steady",
    speed: Annotated[float, typer.Option(min=0.1, max=100, help="Pace of the simulated board.")] = 1.0,
    screen: Annotated[bool | None, typer.Option("--screen/--no-screen", help="The live face.")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but errors.")] = False,
    lan: Annotated[bool, typer.Option("--lan", help="Serve the page to the local network too, with a token.")] = False,
) -> None:
    """Run the daemon: read the board, measure, store, publish, until Ctrl-C."""
    from daq.cli.run import run as command

    command(config, port, scenario if simulate else None, speed, screen, quiet, lan)


@app.command(**example("boretight page"))
def page(config: ConfigOption = None, json: JsonOption = False) -> None:
    """Print the link to the live page of the running bench, and for a phone the same as a QR code."""
    from daq.cli.page import page as command

    command(config, json)


@app.command(**example("boretight demo --speed 10"))
def demo(
    speed: Annotated[float, typer.Option(min=0.1, max=100, help="Multiple of real time.")] = 30.0,
    folder: Annotated[Path | None, typer.Option(help="Where the demo's data go; a new folder by default.")] = None,
    screen: Annotated[bool | None, typer.Option("--screen/--no-screen", help="The live face.")] = None,
) -> None:
    """Test an invented V8 on a simulated board, hands free, from bytes to the report."""
    from daq.cli.demo import demo as command

    command(speed, folder, screen)


@app.command(**example("boretight ports --probe"))
def ports(
    probe: Annotated[bool, typer.Option("--probe/--no-probe", help="Open each port and ask who is there.")] = True,
    baud: Annotated[int, typer.Option(help="Line speed for the question.")] = 115_200,
    json: JsonOption = False,
    also: Annotated[list[str] | None, typer.Argument(help="Further paths or URLs to ask.")] = None,
) -> None:
    """List the serial ports and what answers on them."""
    from daq.cli.ports import ports as command

    command(probe, baud, json, also or [])


@app.command(**example("boretight watch --bench garage"))
def watch(
    bench: Annotated[str | None, typer.Option(help="Only this bench; all of them by default.")] = None,
    host: Annotated[str | None, typer.Option(help="The broker, instead of the configured one.")] = None,
    mqtt_port: Annotated[int | None, typer.Option("--mqtt-port", help="Its port.")] = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show live readings of any bench from the broker."""
    from daq.cli.watch import watch as command

    command(bench, host, mqtt_port, config, json)


BenchOption = Annotated[str | None, typer.Option(help="Which bench, instead of the configured one.")]
HostOption = Annotated[str | None, typer.Option(help="The broker, instead of the configured one.")]
MqttPortOption = Annotated[int | None, typer.Option("--mqtt-port", help="Its port.")]


@app.command(**example("boretight mark heard exhaust clear"))
def mark(
    kind: Annotated[
        str,
        typer.Argument(
            help="next, again, skip, undo, pause, go-on, finish, acknowledge, cylinder NUMBER, heard PLACE, note WORDS."
        ),
    ],
    words: Annotated[list[str] | None, typer.Argument(help="The number, the place or the words.")] = None,
    bench: BenchOption = None,
    host: HostOption = None,
    mqtt_port: MqttPortOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Tell a running bench what you did or heard: next cylinder, again, skip, cylinder 3, a hiss at the exhaust."""
    from daq.cli.mark import Bench
    from daq.cli.mark import mark as command

    command(kind, " ".join(words or []), Bench(bench, host, mqtt_port, config), json)


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
        raise UsageError("An engine is hot or cold, not both.")
    temperature = "hot" if hot else "cold" if cold else "unknown"
    said: dict[str, Any] = {"engine": engine, "test": name, "temperature": temperature}
    said["acknowledged_by"] = acknowledged_by
    said |= {"soft_step": soft_step, "hours": hours, "distance_km": distance_km, "by": by, "note": note}
    request = request_of(said)
    start(request, Bench(bench, host, mqtt_port, config), json)


@test_app.command("list", **example("boretight test list"))
def test_list(
    database: Annotated[Path | None, typer.Option(help="The database, instead of the configured one.")] = None,
    most: Annotated[int, typer.Option(min=1, help="How many of them.")] = 20,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """List the tests that are stored, the newest first."""
    from daq.cli.test import list_tests

    list_tests(database, config, most, json)


@app.command(**example("boretight replay 20261125-101500.btlog --into replayed.db"))
def replay(
    file: Annotated[Path, typer.Argument(help="A raw log (.btlog or .btlog.gz).")],
    into: Annotated[Path | None, typer.Option(help="Also store the result in this database.")] = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Run a raw log through the same pipeline, as fast as it goes, with its own calibration or another one."""
    from daq.cli.replay import replay as command

    command(file, into, config, json)


@app.command(**example("boretight render four-cylinder four.btlog --seed 7"))
def render(
    scenario: Annotated[str, typer.Argument(help="A built-in scenario, or a TOML file.")],
    out: Annotated[Path, typer.Argument(help="The raw log to write (.btlog or .btlog.gz).")],
    seed: Annotated[int, typer.Option(min=0, help="Same seed, same file.")] = 1,
    seconds: Annotated[float | None, typer.Option(min=0, help="Stop after so much simulated time.")] = None,
) -> None:
    """Render a simulated board straight to a raw log, to replay it."""
    from daq.cli.render import render as command

    command(scenario, out, seed, seconds)


@app.command(**example("boretight export stable --format csv --out stable.csv"))
def export(
    table: Annotated[str, typer.Argument(help="readings, stable, events, samples or cylinders.")],
    format: Annotated[str, typer.Option(help="csv, jsonl or parquet.")] = "csv",
    out: Annotated[Path | None, typer.Option(help="The file; standard output by default (not for parquet).")] = None,
    database: Annotated[Path | None, typer.Option(help="The database, instead of the configured one.")] = None,
    since: Annotated[
        str | None, typer.Option(help="Only rows from this time on, like 2026-11-25 or with a time.")
    ] = None,
    config: ConfigOption = None,
) -> None:
    """Write stored data as CSV, JSON lines or Parquet."""
    from daq.cli.export import export as command

    command(table, format, out, database, since, config)


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


@calibrate_app.command(
    "transducers", **example('boretight calibrate transducers --reference-name "gauge 3" --reference-u 0.1')
)
def calibrate_transducers(
    reference_name: Annotated[str, typer.Option(help="Name and number of the reference gauge.")],
    reference_u: Annotated[float | None, typer.Option(help="Its expanded uncertainty (k = 2), as certified.")] = None,
    reference_limit: Annotated[float | None, typer.Option(help="Or the limits of its class, plus or minus.")] = None,
    points: Annotated[Path | None, typer.Option(help="A CSV or TOML file of points; no board is needed then.")] = None,
    bits: Annotated[int | None, typer.Option(min=8, max=24, help="Of the converter, for points in counts.")] = None,
    port: PortOption = None,
    by: ByOption = None,
    ambient_c: AmbientOption = None,
    ambient_kpa: BarometerOption = None,
    note: NoteOption = "",
    due_months: Annotated[float, typer.Option(min=0.1, help="When it is due again.")] = 12,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Calibrate both transducers against a reference gauge, at several pressures up and down."""
    from daq.cli.calibrate_transducers import Reference, transducers
    from daq.cli.workshop import Board, Notes

    reference, notes = Reference(reference_name, reference_u, reference_limit), Notes(by, ambient_c, ambient_kpa, note)
    transducers(config, points, bits, reference, Board(port), notes, due_months, json)


@calibrate_app.command("pairing", **example("boretight calibrate pairing"))
def calibrate_pairing(
    plateaus: Annotated[int, typer.Option(min=3, max=20, help="How many pressures; more make it better.")] = 3,
    port: PortOption = None,
    simulate: Annotated[bool, typer.Option("--simulate", help="Use a simulated board; none is needed.")] = False,
    scenario: Annotated[str, typer.Option(help="What the simulated board plays: a name or a TOML file.")] = "pairing",
    speed: Annotated[float, typer.Option(min=0.1, max=100, help="Pace of the simulated board.")] = 1.0,
    by: ByOption = None,
    ambient_c: AmbientOption = None,
    ambient_kpa: BarometerOption = None,
    note: NoteOption = "",
    due_days: Annotated[float, typer.Option(min=0.1, help="When it is due again.")] = 7,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Take the difference of the two channels off: outlet blocked, turn the regulator to a few pressures."""
    from daq.cli.calibrate_pairing import pairing
    from daq.cli.workshop import Board, Notes

    board = Board(port, scenario if simulate else None, speed)
    pairing(config, board, plateaus, Notes(by, ambient_c, ambient_kpa, note), due_days, json)


@calibrate_app.command("restrictor", **example("boretight calibrate restrictor --jets jets.csv"))
def calibrate_restrictor(
    jets: Annotated[Path | None, typer.Option(help="A CSV or TOML file of jets and what they gave.")] = None,
    u_cd: UcdOption = 2.0,
    port: PortOption = None,
    by: ByOption = None,
    ambient_c: AmbientOption = None,
    ambient_kpa: BarometerOption = None,
    note: NoteOption = "",
    due_months: Annotated[float, typer.Option(min=0.1, help="When it is due again.")] = 12,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Calibrate the restrictor by known jets at the outlet, three or more from a small to a large loss."""
    from daq.cli.calibrate_restrictor import restrictor
    from daq.cli.workshop import Board, Notes

    restrictor(config, jets, u_cd, Board(port), Notes(by, ambient_c, ambient_kpa, note), due_months, json)


@calibrate_app.command("check-jet", **example("boretight calibrate check-jet --diameter-mm 0.9 --cd 0.8"))
def calibrate_check_jet(
    diameter_mm: Annotated[float | None, typer.Option(help="Of the jet.")] = None,
    cd: Annotated[float | None, typer.Option(help="Its discharge coefficient.")] = None,
    conductance: Annotated[float | None, typer.Option(help="Or its conductance C, L/(min bar).")] = None,
    supply: Annotated[float | None, typer.Option(help="Supply pressure; measured now by default.")] = None,
    cylinder: Annotated[float | None, typer.Option(help="Cylinder pressure with the jet.")] = None,
    u_cd: UcdOption = 2.0,
    port: PortOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Check with one known jet whether the restrictor is fouled."""
    from daq.cli.calibrate_restrictor import Named, check
    from daq.cli.workshop import Board

    check(config, Named(diameter_mm, cd, conductance), supply, cylinder, u_cd, Board(port), json)


@calibration_app.command("list", **example("boretight calibration list"))
def calibration_list(config: ConfigOption = None, json: JsonOption = False) -> None:
    """List the calibration records, and which of them are in force."""
    from daq.cli.calibration import list_records

    list_records(config, json)


@calibration_app.command("show", **example("boretight calibration show --html certificate.html"))
def calibration_show(
    record: Annotated[str | None, typer.Argument(help="The begin of a record's id; all in force by default.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write a certificate of one page, to print or to keep.")] = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show what is in force, or one record, with plots and the uncertainty budget."""
    from daq.cli.calibration import show

    show(record, html, config, json)


@app.command(**example("boretight budget last"))
def budget(
    reading: Annotated[str, typer.Argument(help="The number of a stable reading, or `last`.")] = "last",
    database: Annotated[Path | None, typer.Option(help="The database, instead of the configured one.")] = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show what the uncertainty of a reading is made of, component by component."""
    from daq.cli.budget import budget as command

    command(reading, database, config, json)


@app.command(**example("boretight config --json"))
def config(config: ConfigOption = None, json: JsonOption = False) -> None:
    """Show the configuration in force and where it was read from."""
    from daq.cli.show_config import show as command

    command(config, json)


def main() -> None:
    """The entry point: errors on standard error, in words, with an exit code that means something."""
    try:
        app()
    except BoretightError as error:
        print(f"boretight: {error}", file=sys.stderr)
        sys.exit(error.exit_code)
    except SystemExit as ended:
        sys.exit(UsageError.exit_code if ended.code == WRONG_WORDS else ended.code)


if __name__ == "__main__":
    main()
