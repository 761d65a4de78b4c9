"""`boretight watch`: the face of every bench that a broker knows, from its messages alone."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, ValidationError

from daq.cli.event_loop import run as run_loop
from daq.cli.output import print_json
from daq.config import load
from daq.daemon import mqtt_settings
from daq.sinks.mqtt import MqttSettings, subscribe
from daq.sinks.terminal import Face, face_lines
from daq.sinks.terminal.sink import plain
from daq.units import PressureUnit

if TYPE_CHECKING:
    from rich.live import Live

REDRAW_S = 0.2
PLAIN_EACH_S = 2.0


def watch(bench: str | None, host: str | None, port: int | None, config_path: Path | None, as_json: bool) -> None:
    """Until Ctrl-C."""
    config = load(config_path)
    settings = mqtt_settings(config, host, port)
    with contextlib.suppress(KeyboardInterrupt, BrokenPipeError):
        run_loop(_print_json(settings, bench) if as_json else _show(settings, bench, config.display.pressure))


async def _print_json(settings: MqttSettings, bench: str | None) -> None:
    complaints = _Complaints()
    async for topic, payload in subscribe(settings, bench, on_fault=complaints.tell):
        complaints.forget()
        with contextlib.suppress(ValueError):  # a number that JSON does not have, from a stranger
            print_json({"topic": topic, **payload})


async def _show(settings: MqttSettings, bench: str | None, unit: PressureUnit) -> None:
    wall = Wall()
    screen = _Screen(unit) if sys.stdout.isatty() else _Plain(unit)
    try:
        async with asyncio.TaskGroup() as group:
            group.create_task(_feed(wall, settings, bench))
            group.create_task(_draw(wall, screen))
    except BaseExceptionGroup as faults:  # the first one ended the other task; it is told as itself
        raise faults.exceptions[0] from None
    finally:
        screen.close()


async def _feed(wall: Wall, settings: MqttSettings, bench: str | None) -> None:
    complaints = _Complaints()
    async for topic, payload in subscribe(settings, bench, on_fault=complaints.tell):
        complaints.forget()
        wall.take(topic, payload, time.monotonic())


async def _draw(wall: Wall, screen: _Screen | _Plain) -> None:
    while True:
        await asyncio.sleep(screen.each_s)
        screen.draw(wall.faces(time.monotonic()))


class _Complaints:
    """Tells a fault once, until it changes or is over."""

    def __init__(self) -> None:
        self._told = ""

    def tell(self, fault: str) -> None:
        if fault != self._told:
            print(f"boretight: {fault}; trying again", file=sys.stderr)
        self._told = fault

    def forget(self) -> None:
        self._told = ""


class _Taken(BaseModel):
    """What is taken of a message, whoever sent it; the rest is passed over."""

    model_config = ConfigDict(strict=True)


class _Live(_Taken):
    supply_gauge_pa: float | None
    cylinder_gauge_pa: float | None
    loss_pct: float | None
    supply_held: bool
    stable: bool

    def changes(self) -> dict[str, Any]:
        values = self.model_dump()
        return {"line_up": True, "held": values.pop("supply_held"), **values}


class _Session(_Taken):
    engine: str
    cylinder: int | None
    phase: str

    def changes(self) -> dict[str, Any]:
        return self.model_dump()


class _Status(_Taken):
    line: str

    def changes(self) -> dict[str, Any]:
        return {"line_up": self.line == "up"}


class _Availability(_Taken):
    availability: str

    def changes(self) -> dict[str, Any]:
        return {} if self.availability == "online" else {"line_up": False}


_TAKEN: dict[str, type[_Live | _Session | _Status | _Availability]] = {
    "live": _Live,
    "session": _Session,
    "status": _Status,
    "availability": _Availability,
}


class Wall:
    """One face for each bench, made of what it said last; benches are never mixed up."""

    def __init__(self) -> None:
        self._faces: dict[str, Face] = {}
        self._heard_s: dict[str, float] = {}

    def take(self, topic: str, payload: dict[str, Any], now_s: float) -> None:
        """`topic` is `<root>/v1/<bench>/<name>`; what is not known or does not fit is passed over."""
        bench, _, name = topic.split("/", 2)[2].partition("/")
        if name not in _TAKEN:
            return
        try:
            changes = _TAKEN[name].model_validate(payload).changes()
        except ValidationError:
            return
        self._faces[bench] = replace(self._faces.get(bench, Face(bench)), **changes)
        if name == "live":
            self._heard_s[bench] = now_s

    def faces(self, now_s: float) -> list[Face]:
        """In the order of their names, each with the age of its newest live reading."""
        never_s = -float("inf")
        return [
            replace(face, age_s=now_s - self._heard_s.get(bench, never_s))
            for bench, face in sorted(self._faces.items())
        ]


class _Screen:
    """Draws the faces in place."""

    each_s = REDRAW_S

    def __init__(self, unit: PressureUnit) -> None:
        from rich.live import Live

        self._unit = unit
        self._live: Live = Live(auto_refresh=False)
        self._live.start()

    def draw(self, faces: list[Face]) -> None:
        from rich.text import Text

        lines = [line for face in faces for line in [*face_lines(face, self._unit, self._live.console.width), ""]]
        text = "\n".join(lines) if lines else "Waiting for a bench..."
        self._live.update(Text(text, style="bold"), refresh=True)

    def close(self) -> None:
        self._live.stop()


class _Plain:
    """One line for each bench, for a pipe or a log."""

    each_s = PLAIN_EACH_S

    def __init__(self, unit: PressureUnit) -> None:
        self._unit = unit

    def draw(self, faces: list[Face]) -> None:
        for face in faces:
            print(" | ".join([face.bench, *plain(face, self._unit)]), flush=True)

    def close(self) -> None:
        pass
