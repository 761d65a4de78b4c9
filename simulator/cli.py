"""The command `boretight-simulator`: a simulated board on a line, or its bytes in a file."""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simulator.errors import FileError, PortError, SimulatorError

if TYPE_CHECKING:
    from simulator.scenario import BoardSection
    from simulator.transport.port import Port

app = typer.Typer(
    name="boretight-simulator",
    help="A simulated leak-down bench: pressures, board and serial line, from a scenario.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
ScenarioName = Annotated[str, typer.Argument(help="Name of a built-in scenario (see `list`), or path of a TOML file.")]
Seed = Annotated[int, typer.Option(min=0, help="Same seed, same bytes.")]
AsJson = Annotated[bool, typer.Option("--json", help="For programs: JSON on standard output.")]


class StreamFormat(StrEnum):
    """How `render` writes: the bytes alone, or JSON lines: the board, then each piece with its time."""

    STREAM = "stream"
    JSONL = "jsonl"


@app.command()
def serve(
    scenario: ScenarioName = "four-cylinder",
    pty: Annotated[bool, typer.Option("--pty", help="Offer a pseudo-terminal (Linux, macOS).")] = False,
    tcp: Annotated[int | None, typer.Option(min=0, max=65535, help="Offer this TCP port; 0 picks one.")] = None,
    link: Annotated[Path | None, typer.Option(help="Symbolic link to the pseudo-terminal, kept up to date.")] = None,
    speed: Annotated[float, typer.Option(min=0.01, max=1000.0, help="Multiple of real time.")] = 1.0,
    seed: Seed = 1,
    linger: Annotated[bool, typer.Option("--linger", help="Stay when the scenario is over.")] = False,
    exit_with_stdin: Annotated[bool, typer.Option("--exit-with-stdin", help="End when standard input ends.")] = False,
    as_json: AsJson = False,
) -> None:
    """Offer a simulated board until its scenario is over. Ctrl-C ends it.

    The scenario starts when the host first starts the stream (INITiate), not before.

    Example: boretight-simulator serve four-cylinder --pty --link ./board --speed 10
    """
    from simulator.scenario import load
    from simulator.simulation import Simulation
    from simulator.transport.pacing import serve as run

    simulation = Simulation(load(scenario), seed)
    with _stop_requests(exit_with_stdin) as stop, _port(pty, tcp, link) as port:
        port.plug()
        _announce(port.url, scenario, simulation.ends_s, as_json)
        run(simulation, port, stop, speed=speed, linger=linger)
        if port.lost_bytes:
            typer.echo(f"The host was too slow: {port.lost_bytes} bytes were lost on the line.", err=True)


@app.command()
def render(
    scenario: ScenarioName,
    file: Annotated[Path, typer.Argument(help="Where to write.")],
    format: Annotated[StreamFormat, typer.Option(help="Bytes alone, or pieces with their time.")] = StreamFormat.STREAM,
    seed: Seed = 1,
    seconds: Annotated[float | None, typer.Option(min=0.0, help="Stop after so much simulated time.")] = None,
) -> None:
    """Write what a host would have received, as fast as possible.

    Example: boretight-simulator render rough-line rough.bytes --seed 7
    """
    from simulator.scenario import load
    from simulator.simulation import render as run

    loaded = load(scenario)
    if loaded.endless and seconds is None:
        raise typer.BadParameter(f"{scenario} never ends; say how long with --seconds.")
    pieces = run(loaded, seed, float("inf") if seconds is None else seconds)
    try:
        with file.open("wb") as out:
            if format is StreamFormat.JSONL:
                out.write(_head(loaded.board))
            for time_s, data in pieces:
                out.write(data if format is StreamFormat.STREAM else _piece(time_s, data))
    except OSError as error:
        raise FileError(f"{file} cannot be written.", "Name a path with room on its disk.", str(error)) from error


@app.command("list")
def list_scenarios(as_json: AsJson = False) -> None:
    """Name the built-in scenarios.

    Example: boretight-simulator list
    """
    from simulator.scenario import built_in, parse

    titles = {name: parse(text, name).title for name, text in built_in().items()}
    if as_json:
        typer.echo(json.dumps(titles))
        return
    for name, title in titles.items():
        typer.echo(f"{name:<16} {title}")


@app.command()
def show(name: Annotated[str, typer.Argument(help="Name of a built-in scenario.")]) -> None:
    """Print a built-in scenario, to start one of your own from.

    Example: boretight-simulator show four-cylinder > mine.toml
    """
    from simulator.errors import ScenarioError
    from simulator.scenario import built_in

    texts = built_in()
    if name not in texts:
        raise ScenarioError(f"There is no built-in scenario {name!r}.", f"Name one of {', '.join(texts)}.")
    typer.echo(texts[name], nl=False)


@app.command()
def truth(scenario: ScenarioName, as_json: AsJson = False) -> None:
    """Show the true loss of each cylinder at the set point, before and after the taps of the scenario, and its causes.

    With --json also the area of each leak path, where the crank stands, set point and restrictor.

    Example: boretight-simulator truth four-cylinder
    """
    from dataclasses import asdict

    from simulator.scenario import load
    from simulator.truth import truth as true_losses

    rows = true_losses(load(scenario))
    if as_json:
        typer.echo(json.dumps([asdict(row) for row in rows]))
        return
    typer.echo("cylinder  as found  after tap  leak area  after tap  largest path   what is wrong")
    for row in rows:
        losses = f"{row.as_found_loss_pct:8.2f} %  {row.after_tap_loss_pct:7.2f} %"
        areas = f"{row.as_found_area_mm2:5.3f} mm2  {row.after_tap_area_mm2:5.3f} mm2"
        wrong = ", ".join([*row.conditions, *([f"crank {row.crank_off_deg:+g} deg"] if row.crank_off_deg else [])])
        typer.echo(f"{row.cylinder:>8}{losses}  {areas}  {row.worst_path:<13}  {wrong}".rstrip())


def main() -> None:
    """Run the command line; errors are for a person, without a traceback."""
    try:
        app()
    except SimulatorError as error:
        typer.echo(str(error), err=True)
        sys.exit(error.exit_code)


# ---- inside ----


@contextmanager
def _port(pty: bool, tcp: int | None, link: Path | None) -> Iterator[Port]:
    if pty == (tcp is not None):
        raise typer.BadParameter("say where to offer the board: --pty or --tcp PORT, one of them.")
    port = _open_pty(link) if pty else _open_tcp(tcp or 0)
    try:
        yield port
    finally:
        port.close()


def _open_pty(link: Path | None) -> Port:
    try:
        from simulator.transport.pty_port import PtyPort
    except ImportError as error:
        raise PortError("This system has no pseudo-terminals.", "Use --tcp 0.", str(error)) from error
    return PtyPort(link)


def _open_tcp(number: int) -> Port:
    from simulator.transport.tcp_port import TcpPort

    return TcpPort(number)


@contextmanager
def _stop_requests(exit_with_stdin: bool) -> Iterator[threading.Event]:
    """An event that Ctrl-C, a request to terminate and, if wanted, the end of standard input set."""
    stop = threading.Event()
    signals = (signal.SIGINT, signal.SIGTERM)
    before = [signal.signal(number, lambda *_: stop.set()) for number in signals]
    if exit_with_stdin:
        threading.Thread(target=_wait_for_end_of_stdin, args=(stop,), daemon=True).start()
    try:
        yield stop
    finally:
        for number, handler in zip(signals, before, strict=True):
            signal.signal(number, handler)


def _wait_for_end_of_stdin(stop: threading.Event) -> None:
    """Whoever started the simulator and dies, by whatever death, closes its end of the pipe."""
    while os.read(sys.stdin.fileno(), 4096):
        pass
    stop.set()


def _announce(url: str, scenario: str, ends_s: float | None, as_json: bool) -> None:
    if as_json:
        line = json.dumps({"url": url, "scenario": scenario, "seconds": ends_s})
    else:
        length = "without end" if ends_s is None else f"{ends_s:.0f} s of simulated time"
        line = f"{scenario} ({length}) is at {url}"
    print(line, flush=True)


def _head(board: BoardSection) -> bytes:
    """What a host would learn of the board in the handshake, before the first piece."""
    told = {"bare", "bits", "reference", "rate_hz", "maker", "model", "serial", "firmware"}
    return json.dumps({"board": board.model_dump(include=told)}).encode() + b"\n"


def _piece(time_s: float, data: bytes) -> bytes:
    """Latin-1 keeps every byte as one character, so that text stays readable and garbage survives."""
    return json.dumps({"t_s": round(time_s, 6), "data": data.decode("latin-1")}).encode() + b"\n"
