"""`boretight run`: the daemon in the foreground."""

from __future__ import annotations

import logging
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from daq.cli.event_loop import run as run_loop
from daq.cli.page import tell_page
from daq.config import CuesSection, load
from daq.daemon.bench import line_settings
from daq.daemon.daemon import Daemon
from daq.procedure.cautions import before_air
from daq.sinks.base import Sink
from daq.sinks.cues import CueSink, Phrases, find_sound
from daq.sinks.mqtt.settings import MqttSettings
from daq.sinks.terminal import TerminalSink
from daq.sources.ports import LineSettings
from daq.sources.serial_line import SerialLine
from daq.sources.simulated import SimulatedBoard


def run(
    config_path: Path | None,
    port: str | None,
    scenario: str | None,
    speed: float,
    screen: bool | None,
    quiet: bool,
    lan: bool = False,
) -> None:
    """Until Ctrl-C or SIGTERM; errors of the start are raised, those of the line are waited out."""
    logging.basicConfig(format="boretight: %(message)s", level=logging.WARNING)
    config = load(config_path, **_line_override(port), **({"page": {"lan": True}} if lan else {}))
    with ExitStack() as stack:
        settings = line_settings(config.line)
        if scenario is not None:
            settings = LineSettings(stack.enter_context(SimulatedBoard(scenario, speed)), rate_hz=config.line.rate_hz)
        tell = (lambda settings: None) if quiet else tell_broker
        watchers: list[Sink] = [] if quiet else [TerminalSink(config.bench, config.display.pressure, screen=screen)]
        watchers += [] if quiet else cue_sinks(config.cues)
        tell_link = (lambda link: None) if quiet else tell_page
        if not quiet:
            tell_cautions(config.engine.certified)
        run_loop(Daemon(config, SerialLine(settings), watchers, tell, tell_link).run())


def cue_sinks(section: CuesSection) -> list[Sink]:
    """For the ear, if the user wants it and this machine has what makes sound."""
    sound = find_sound(section.volume_pct / 100, section.voice, section.words_per_min, section.speak)
    if not section.sound or not (sound.player or sound.speaker):
        return []
    return [CueSink(sound, Phrases.read(section.words) if section.words else None)]


def tell_cautions(certified: bool) -> None:
    """Before the line is opened, so before any air."""
    print("Before any air:")
    for caution in before_air(certified):
        print(f"  - {caution.text}")
    print(flush=True)


def tell_broker(settings: MqttSettings) -> None:
    """Where to listen, for a phone, a dashboard or `boretight watch`."""
    print(f"MQTT broker {settings.address}, topics {settings.root}/v1/{settings.bench}/#", flush=True)


def _line_override(port: str | None) -> dict[str, Any]:
    return {} if port is None else {"line": {"port": port}}
