"""`boretight engine ...`."""

from typing import Annotated

import typer

from daq.cli.commands.options import ConfigOption, JsonOption, PortOption, example, group

engine_app = group("Engines: their profiles, and their cranks.")

KeyArgument = Annotated[str, typer.Argument(help="The key of the profile, as `boretight engine list` shows it.")]
SetOption = Annotated[
    list[str] | None, typer.Option("--set", help="key=value, as often as needed; `key=` takes a key out.")
]
ResistanceOption = Annotated[
    float | None, typer.Option(min=0.01, help="Torque that holds the crank, lbf ft; a low guess by default.")
]


@engine_app.command("list", **example("boretight engine list"))
def list_(config: ConfigOption = None, json: JsonOption = False) -> None:
    """List the engine profiles, your own and those that come with boretight."""
    from daq.cli.engine_profiles import list_profiles

    list_profiles(config, json)


@engine_app.command("show", **example("boretight engine show v8"))
def show(key: KeyArgument, config: ConfigOption = None, json: JsonOption = False) -> None:
    """Show one profile, what follows from it, and what cannot be judged of this engine."""
    from daq.cli.engine_profiles import show_profile

    show_profile(key, config, json)


@engine_app.command("add", **example('boretight engine add van --like inline-four --bore "3.5 in" --set rod="5.7 in"'))
def add(
    key: Annotated[str, typer.Argument(help="A short key for it: lower-case letters, digits and dashes.")],
    like: Annotated[str | None, typer.Option(help="Begin with this profile: its key, or a TOML file.")] = None,
    name: Annotated[str | None, typer.Option(help="Its name, as reports print it; the key by default.")] = None,
    layout: Annotated[str | None, typer.Option(help="single, inline, vee, flat, radial or other.")] = None,
    firing_order: Annotated[str | None, typer.Option(help="Like 1-3-4-2.")] = None,
    banks: Annotated[str | None, typer.Option(help='Each from the front, like "1-3-5-7 2-4-6-8".')] = None,
    bore: Annotated[str | None, typer.Option(help='With its unit: "86 mm" or "3.39 in".')] = None,
    stroke: Annotated[str | None, typer.Option(help="Likewise.")] = None,
    rod: Annotated[str | None, typer.Option(help="Between the centres of its eyes.")] = None,
    set: SetOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Make a profile of your own; on a terminal, and without options, it asks."""
    from daq.cli.engine_profiles import add_profile

    said = {"name": name, "layout": layout, "firing_order": firing_order, "banks": banks,
            "bore": bore, "stroke": stroke, "rod": rod}  # fmt: skip
    add_profile(key, like, {word: value for word, value in said.items() if value is not None}, set or [], config, json)


@engine_app.command("edit", **example('boretight engine edit van --set stroke="92 mm" --set certified=false'))
def edit(key: KeyArgument, set: SetOption = None, config: ConfigOption = None, json: JsonOption = False) -> None:
    """Change a profile, in your editor ($EDITOR) or by --set. A wrong one changes nothing; the old one is archived."""
    from daq.cli.engine_profiles import edit_profile

    edit_profile(key, set or [], config, json)


@engine_app.command("remove", **example("boretight engine remove van"))
def remove(key: KeyArgument, config: ConfigOption = None, json: JsonOption = False) -> None:
    """Put a profile of your own away; it stays in the archive, and its tests in the database."""
    from daq.cli.engine_profiles import remove_profile

    remove_profile(key, config, json)


@engine_app.command("tdc", **example("boretight engine tdc v8 --resistance 3"))
def tdc(
    key: KeyArgument,
    resistance: ResistanceOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show how far to turn from one cylinder to the next, and how far off top dead centre the crank still holds."""
    from daq.cli.engine_tdc import show_tdc

    show_tdc(key, resistance, config, json)


@engine_app.command("sweep", **example("boretight engine sweep v8 --hose-cm3 20"))
def sweep(
    key: KeyArgument,
    hose_cm3: Annotated[float, typer.Option(min=0, max=1000, help="Volume of hose and adapter.")] = 20.0,
    resistance: ResistanceOption = None,
    port: PortOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Find top dead centre without a dial gauge: turn over the top and back by hand, and mark where it sounds."""
    from daq.cli.engine_sweep import sweep as command
    from daq.cli.workshop import Board

    command(key, hose_cm3, resistance, config, Board(port), json)
