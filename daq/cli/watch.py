"""`boretight watch`: the face of every bench that a broker knows, from its messages alone."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

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
    async for topic, payload in subscribe(settings, bench, on_fault=_complain):
        print_json({"topic": topic, **payload})


async def _show(settings: MqttSettings, bench: str | None, unit: PressureUnit) -> None:
    wall = Wall()
    screen = _Screen(unit) if sys.stdout.isatty() else _Plain(unit)
    drawing = asyncio.create_task(_draw(wall, screen))
    try:
        async for topic, payload in subscribe(settings, bench, on_fault=_complain):
            wall.take(topic, payload, time.monotonic())
    finally:
        drawing.cancel()
        screen.close()


async def _draw(wall: Wall, screen: _Screen | _Plain) -> None:
    while True:
        await asyncio.sleep(screen.each_s)
        screen.draw(wall.faces(time.monotonic()))


def _complain(fault: str) -> None:
    print(f"boretight: {fault}; trying again", file=sys.stderr)


class Wall:
    """One face for each bench, made of what it said last; benches are never mixed up."""

    def __init__(self) -> None:
        self._faces: dict[str, Face] = {}
        self._heard_s: dict[str, float] = {}

    def take(self, topic: str, payload: dict[str, Any], now_s: float) -> None:
        """`topic` is `<root>/v1/<bench>/<name>`; what it does not know it passes over."""
        _, _, bench, name = topic.split("/", 3)
        face = self._faces.get(bench, Face(bench))
        changes = {"live": _of_live, "session": _of_session, "status": _of_status, "availability": _of_availability}
        if name in changes:
            self._faces[bench] = replace(face, **changes[name](payload))
        if name == "live":
            self._heard_s[bench] = now_s

    def faces(self, now_s: float) -> list[Face]:
        """In the order of their names, each with the age of its newest live reading."""
        never_s = -float("inf")
        return [
            replace(face, age_s=now_s - self._heard_s.get(bench, never_s))
            for bench, face in sorted(self._faces.items())
        ]


def _of_live(payload: dict[str, Any]) -> dict[str, Any]:
    return {
        "line_up": True,
        "supply_gauge_pa": payload["supply_gauge_pa"],
        "cylinder_gauge_pa": payload["cylinder_gauge_pa"],
        "loss_pct": payload["loss_pct"],
        "held": payload["supply_held"],
        "stable": payload["stable"],
    }


def _of_session(payload: dict[str, Any]) -> dict[str, Any]:
    return {key: payload[key] for key in ("engine", "cylinder", "phase")}


def _of_status(payload: dict[str, Any]) -> dict[str, Any]:
    return {"line_up": payload["line"] == "up"}


def _of_availability(payload: dict[str, Any]) -> dict[str, Any]:
    return {} if payload["availability"] == "online" else {"line_up": False}


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
