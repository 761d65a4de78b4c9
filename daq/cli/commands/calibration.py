"""`boretight calibrate ...` and `calibration ...`."""

from pathlib import Path
from typing import Annotated

import typer

from daq.cli.commands.options import (
    ConfigOption,
    JsonOption,
    NoteOption,
    PortOption,
    ScenarioOption,
    SimulateOption,
    SpeedOption,
    example,
    group,
)

calibrate_app = group("Calibrate transducers and restrictor, pair the channels.")
calibration_app = group("Look at the calibrations that are kept.")

ByOption = Annotated[str | None, typer.Option("--by", help="Who calibrates; your user name by default.")]
AmbientOption = Annotated[float | None, typer.Option("--ambient-c", help="Air temperature at the bench, Celsius.")]
BarometerOption = Annotated[float | None, typer.Option("--ambient-kpa", help="Barometer at the bench, kPa.")]
UcdOption = Annotated[float, typer.Option("--u-cd", min=0, help="Standard uncertainty of the jets' Cd, percent.")]


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
    simulate: SimulateOption = False,
    scenario: ScenarioOption = "pairing",
    speed: SpeedOption = 1.0,
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
