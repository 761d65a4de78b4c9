"""Faces made from messages alone: benches are never mixed up, and old or offline looks so."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest

from daq.cli import watch
from daq.cli.watch import Wall
from daq.errors import ConfigError
from daq.sinks.mqtt import MqttSettings
from daq.sinks.terminal.face import Face, face_lines, state, wanted
from daq.units import PressureUnit

LIVE: dict[str, Any] = {
    "supply_gauge_pa": 689_476.0, "cylinder_gauge_pa": 620_000.0, "loss_pct": 10.1, "supply_held": True, "stable": True,
}  # fmt: skip
SESSION = {"engine": "invented", "cylinder": 2, "phase": "as-found", "next_cylinder": 4}


def wall_of_two() -> Wall:
    wall = Wall()
    for bench, loss_pct in (("b", 20.0), ("a", 10.0)):
        wall.take(f"boretight/v1/{bench}/session", SESSION, 0.0)
        wall.take(f"boretight/v1/{bench}/live", LIVE | {"loss_pct": loss_pct}, 1.0)
    return wall


def test_each_bench_has_its_own_face() -> None:
    faces = wall_of_two().faces(1.5)
    assert [(face.bench, face.loss_pct) for face in faces] == [("a", 10.0), ("b", 20.0)]
    assert all(state(face) == "STABLE" for face in faces)


def test_a_bench_that_falls_silent_goes_stale_alone() -> None:
    wall = wall_of_two()
    wall.take("boretight/v1/a/live", LIVE, 10.0)
    assert [state(face) for face in wall.faces(10.5)] == ["STABLE", "STALE"]


def test_offline_and_a_dead_line_look_so() -> None:
    wall = wall_of_two()
    wall.take("boretight/v1/a/availability", {"availability": "offline"}, 1.2)
    wall.take("boretight/v1/b/status", {"line": "down"}, 1.2)
    assert [wanted(face) for face in wall.faces(1.5)] == ["NO BOARD ON THE LINE"] * 2


def test_a_retained_word_alone_is_no_reading() -> None:
    wall = Wall()
    wall.take("boretight/v1/a/availability", {"availability": "online"}, 0.0)
    (face,) = wall.faces(0.1)
    assert (face.loss_pct, state(face)) == (None, "STALE")


def test_other_messages_change_nothing() -> None:
    wall = wall_of_two()
    before = wall.faces(1.5)
    wall.take("boretight/v1/a/event", {"kind": "tap"}, 1.2)
    wall.take("boretight/v1/a/last/3", {"loss_pct": 99.0}, 1.2)
    assert wall.faces(1.5) == before


@pytest.mark.parametrize(
    ("name", "payload"),
    [
        ("live", {}),
        ("live", LIVE | {"supply_gauge_pa": "much"}),
        ("live", LIVE | {"loss_pct": [1.0]}),
        ("live", LIVE | {"cylinder_gauge_pa": 10**400}),
        ("live", LIVE | {"stable": "no"}),
        ("session", {"engine": "invented"}),
        ("session", SESSION | {"phase": ["settle"]}),
        ("session", SESSION | {"cylinder": {}}),
        ("status", {"line": None}),
        ("status", {}),
        ("", {}),
    ],
)
def test_a_strange_message_changes_nothing(name: str, payload: dict[str, Any]) -> None:
    wall = wall_of_two()
    before = wall.faces(1.5)
    for bench in ("a", "c"):
        wall.take(f"boretight/v1/{bench}/{name}".rstrip("/"), payload, 1.2)
    assert wall.faces(1.5) == before


def test_a_number_that_json_does_not_have_is_not_drawn_as_one() -> None:
    wall = Wall()
    wall.take("boretight/v1/a/live", LIVE | {"loss_pct": float("nan"), "supply_gauge_pa": float("nan")}, 1.0)
    (face,) = wall.faces(1.5)
    assert "nan" not in "\n".join(face_lines(face, PressureUnit.PSI, 80))


Told = Callable[[str], None]
Script = Callable[[Told], AsyncIterator[tuple[str, dict[str, Any]]]]


def play(monkeypatch: pytest.MonkeyPatch, script: Script) -> None:
    """The broker says what `script` yields, and tells its faults as `script` does."""
    monkeypatch.setattr(watch, "subscribe", lambda settings, bench, *, on_fault: script(on_fault))


async def _away(tell: Told) -> AsyncIterator[tuple[str, dict[str, Any]]]:
    for fault in ("refused", "refused", "timed out", "timed out"):
        tell(fault)
    yield "boretight/v1/a/live", LIVE | {"loss_pct": float("inf")}
    yield "boretight/v1/a/live", LIVE
    tell("timed out")
    raise ConfigError("enough")


@pytest.mark.parametrize("as_json", [True, False])
def test_a_broker_that_is_away_is_told_once(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], as_json: bool
) -> None:
    play(monkeypatch, _away)
    settings = MqttSettings("a")
    shown = watch._print_json(settings, None) if as_json else watch._show(settings, None, PressureUnit.PSI)
    with pytest.raises(ConfigError, match="enough"):
        asyncio.run(shown)
    said = capsys.readouterr()
    assert said.err.splitlines() == [
        f"boretight: {fault}; trying again" for fault in ("refused", "timed out", "timed out")
    ]
    assert [json.loads(line)["loss_pct"] for line in said.out.splitlines()] == ([LIVE["loss_pct"]] if as_json else [])


def test_a_drawing_that_fails_ends_the_watch(monkeypatch: pytest.MonkeyPatch) -> None:
    async def silence(tell: Told) -> AsyncIterator[tuple[str, dict[str, Any]]]:
        yield "boretight/v1/a/live", LIVE
        await asyncio.Event().wait()

    def fail(screen: object, faces: list[Face]) -> None:
        raise BrokenPipeError

    play(monkeypatch, silence)
    monkeypatch.setattr(watch._Plain, "each_s", 0.0)
    monkeypatch.setattr(watch._Plain, "draw", fail)
    with pytest.raises(BrokenPipeError):
        asyncio.run(asyncio.wait_for(watch._show(MqttSettings("a"), None, PressureUnit.PSI), 60))
