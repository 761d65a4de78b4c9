"""`boretight run`, `page`, `demo`, `ports`, `watch`, `mark`: a bench at work."""

from pathlib import Path
from typing import Annotated

import typer

from daq.cli.commands.options import (
    BenchOption,
    ConfigOption,
    HostOption,
    JsonOption,
    MqttPortOption,
    PortOption,
    ScenarioOption,
    ScreenOption,
    SimulateOption,
    SpeedOption,
    example,
    group,
)

bench_app = group()


@bench_app.command(**example("boretight run --simulate"))
def run(
    config: ConfigOption = None,
    port: PortOption = None,
    simulate: SimulateOption = False,
    scenario: ScenarioOption = "steady",
    speed: SpeedOption = 1.0,
    screen: ScreenOption = None,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but errors.")] = False,
    lan: Annotated[bool, typer.Option("--lan", help="Serve the page to the local network too, with a token.")] = False,
) -> None:
    """Run the daemon: read the board, measure, store, publish, until Ctrl-C."""
    from daq.cli.run import run as command

    command(config, port, scenario if simulate else None, speed, screen, quiet, lan)


@bench_app.command(**example("boretight page"))
def page(config: ConfigOption = None, json: JsonOption = False) -> None:
    """Print the link to the live page of the running bench, and for a phone the same as a QR code."""
    from daq.cli.page import page as command

    command(config, json)


@bench_app.command(**example("boretight demo --speed 10"))
def demo(
    speed: Annotated[float, typer.Option(min=0.1, max=100, help="Multiple of real time.")] = 30.0,
    folder: Annotated[Path | None, typer.Option(help="Where the demo's data go; a new folder by default.")] = None,
    screen: ScreenOption = None,
) -> None:
    """Test an invented V8 on a simulated board, hands free, from bytes to the report."""
    from daq.cli.demo import demo as command

    command(speed, folder, screen)


@bench_app.command(**example("boretight ports --probe"))
def ports(
    probe: Annotated[bool, typer.Option("--probe/--no-probe", help="Open each port and ask who is there.")] = True,
    baud: Annotated[int, typer.Option(help="Line speed for the question.")] = 115_200,
    json: JsonOption = False,
    also: Annotated[list[str] | None, typer.Argument(help="Further paths or URLs to ask.")] = None,
) -> None:
    """List the serial ports and what answers on them."""
    from daq.cli.ports import ports as command

    command(probe, baud, json, also or [])


@bench_app.command(**example("boretight watch --bench garage"))
def watch(
    bench: Annotated[str | None, typer.Option(help="Only this bench; all of them by default.")] = None,
    host: HostOption = None,
    mqtt_port: MqttPortOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Show live readings of any bench from the broker."""
    from daq.cli.watch import watch as command

    command(bench, host, mqtt_port, config, json)


@bench_app.command(**example("boretight mark heard exhaust clear"))
def mark(
    kind: Annotated[
        str,
        typer.Argument(
            help="next, again, skip, undo, pause, go-on, finish, acknowledge, cylinder NUMBER, heard PLACE, "
            "rocked WHAT, note WORDS."
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
