"""`boretight watch`: the face of every bench that a broker knows, from its messages alone."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import sys
import time
from pathlib import Path

from daq.broker_settings import mqtt_settings
from daq.cli.event_loop import run as run_loop
from daq.cli.output import fall_silent, print_json
from daq.cli.watch_panel import Plain, Screen
from daq.cli.watch_wall import Wall
from daq.config import load
from daq.sinks.mqtt.feed import Feed, subscribe
from daq.sinks.mqtt.settings import MqttSettings
from daq.units import PressureUnit


def watch(bench: str | None, host: str | None, port: int | None, config_path: Path | None, as_json: bool) -> None:
    """Until Ctrl-C."""
    config = load(config_path)
    settings = mqtt_settings(config, host, port)
    logging.getLogger("mqtt").addHandler(logging.NullHandler())  # a lost line is told in our words
    try:
        run_loop(_print_json(settings, bench) if as_json else _show(settings, bench, config.display.pressure))
    except KeyboardInterrupt:
        pass
    except BrokenPipeError:
        fall_silent()


async def _print_json(settings: MqttSettings, bench: str | None) -> None:
    broker = _Broker(settings)
    async with _followed(settings, bench, broker) as feed:
        async for topic, payload in feed:
            with contextlib.suppress(ValueError):  # a number that JSON does not have, from a stranger
                print_json({"topic": topic, **payload})


async def _show(settings: MqttSettings, bench: str | None, unit: PressureUnit) -> None:
    wall = Wall(unit)
    screen = Screen(unit) if sys.stdout.isatty() else Plain(unit)
    try:
        async with asyncio.TaskGroup() as group:
            group.create_task(_feed(wall, screen, settings, bench))
            group.create_task(_draw(wall, screen))
    except BaseExceptionGroup as faults:  # the first one ended the other task; it is told as itself
        raise faults.exceptions[0] from None
    finally:
        screen.close()


async def _feed(wall: Wall, screen: Screen | Plain, settings: MqttSettings, bench: str | None) -> None:
    broker = _Broker(settings, wall)
    async with _followed(settings, bench, broker) as feed:
        async for topic, payload in feed:
            screen.tell(wall.take(topic, payload, time.monotonic()))


def _followed(settings: MqttSettings, bench: str | None, broker: _Broker) -> contextlib.aclosing[Feed]:
    """Closed in good order also where nobody reads any more what we print."""
    return contextlib.aclosing(subscribe(settings, bench, on_fault=broker.lost, on_connected=broker.there))


async def _draw(wall: Wall, screen: Screen | Plain) -> None:
    while True:
        await asyncio.sleep(screen.each_s)
        screen.draw(wall.views(time.monotonic()))


class _Broker:
    """Tells on standard error that the broker is away, once for each reason, and that it is there again."""

    def __init__(self, settings: MqttSettings, wall: Wall | None = None) -> None:
        self._address, self._wall = settings.address, wall
        self._told = ""

    def lost(self, fault: str) -> None:
        if fault != self._told:
            print(f"boretight: {fault}; trying again", file=sys.stderr)
        self._turn(fault)

    def there(self) -> None:
        if self._told:
            print(f"boretight: MQTT broker {self._address}: there again", file=sys.stderr)
        self._turn("")

    def _turn(self, fault: str) -> None:
        self._told = fault
        if self._wall is not None:
            self._wall.broker = not fault
