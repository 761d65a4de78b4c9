"""What `boretight watch` prints: plain lines in a pipe, panels on a screen, JSON for a program."""

from __future__ import annotations

import asyncio
import io
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest
from rich.console import Console

from daq.cli import watch
from daq.cli.watch_panel import Plain, Screen, against_set_point, words
from daq.cli.watch_run import View
from daq.cli.watch_wall import Wall
from daq.errors import ConfigError
from daq.records import Cue, CueLevel, Fault, Marked, TestStarted
from daq.sinks.mqtt.settings import MqttSettings
from daq.units import PressureUnit
from tests.suites.deliveries import PLAN
from tests.unit.cli.watch_scenes import LIVE, STATUS, Speaker, captured

PSI = PressureUnit.PSI


def scene(benches: int = 1) -> Wall:
    """Benches `a`, `b` and so on, each in the middle of a test and with a fault."""
    wall = Wall()
    for number in range(benches):
        speaker = Speaker(wall, "abcdefgh"[number])
        speaker.sends("availability", {"availability": "online"})
        speaker.says(
            "describe", set_point_pa=689_476.0, board="Sketch", calibration_id="c1", calibration_date="2026-01-01"
        )
        speaker.says("status", 1.0, **STATUS)
        speaker.event(TestStarted(1, 0.5, "spring", "invented four", PLAN.to_text()))
        speaker.session(3, "settle", done=(1,), order=(1, 3, 4, 2))
        speaker.event(captured(1, 6.0 + number))
        speaker.event(Fault(1, 2.0, "hose off", "0.2 psi.", "Connect it."))
        speaker.event(Cue(1, 2.5, "tap-now", CueLevel.DO, "Tap the valves now."))
        speaker.live(1.0, loss_at_set_pct=10.0 + number)
    return wall


def drawn(wall: Wall, width: int = 100, height: int = 40) -> str:
    out = io.StringIO()
    console = Console(
        file=out, force_terminal=True, width=width, height=height, color_system=None, legacy_windows=False
    )
    screen = Screen(PSI, console)
    screen.draw(wall.views(1.5))
    shown = out.getvalue()
    screen.close()
    return shown


# ---- a screen


def test_a_panel_has_all_of_the_page() -> None:
    shown = drawn(scene())
    for piece in (
        "a | invented four | online", "CYLINDER 3    STABLE", "▀█ ", "SUPPLY", "100.0 psi  HELD", "89.9 psi",
        "Newest stable reading: cylinder 1, 6.0 ± 1.0 %", "Supply held at 100.0 psi", ">> SETTLING, WAIT",
        "LOOK: hose off. 0.2 psi. Connect it.", "Cue: Tap the valves now.", "1 done", "3 now", "as found", "after taps",
        "0.5 s old | Line up | Board Sketch | Calibration c1 of 2026-01-01 | Faults none",
    ):  # fmt: skip
        assert piece in shown, piece
    order = [shown.index(f" {cylinder}") for cylinder in ("1 done", "3 now", "4  ", "2  ")]
    assert order == sorted(order), "in the order of the test"


def test_a_screen_that_is_too_small_leaves_the_cylinders_out_then_all_but_a_line() -> None:
    three = scene(3)
    assert drawn(three, height=80).count("as found") == 3
    middle = drawn(three, height=36)
    assert (middle.count("as found"), middle.count("SETTLING, WAIT"), middle.count("╭")) == (0, 3, 3)
    small = drawn(three, height=10)
    assert (small.count("╭"), small.count("CYLINDER SIDE")) == (0, 3)
    assert drawn(scene(8), height=5).count("CYLINDER SIDE") == 4


@pytest.mark.parametrize("width", [20, 40, 53, 54, 80, 200])
def test_no_width_breaks_it(width: int) -> None:
    assert all(
        len(line) <= width for line in drawn(scene(), width=width, height=200).splitlines() if "\x1b" not in line
    )


def test_old_and_offline_say_so_without_colour() -> None:
    wall = scene()
    (stale,) = wall.views(9.0)
    assert "STALE" in "\n".join(words(stale, PSI, 80)) and " >> OLD DATA: NOTHING NEW FROM THE BOARD" in words(
        stale, PSI, 80
    )
    Speaker(wall, "a").sends("availability", {"availability": "offline"})
    assert "Line not known" in wall.views(1.5)[0].health
    for width in (40, 80):
        said = "\n".join(words(wall.views(1.5)[0], PSI, width))
        assert "OFFLINE" in said and "STALE" not in said and "-.-" not in said and ">> OFFLINE: THE DAEMON" in said


def test_what_benches_are_called_is_text_not_markup() -> None:
    wall = scene()
    Speaker(wall, "a").session(3, "settle", engine="[red]four[/red]")
    assert "[red]four[/red]" in drawn(wall)


def test_nobody_there_is_said() -> None:
    assert "Waiting for a bench..." in drawn(Wall())


def _view(**seen: Any) -> View:
    wall = scene()
    Speaker(wall, "a").live(1.0, **seen)
    return wall.views(1.5)[0]


def test_the_supply_stands_against_its_set_point() -> None:
    assert against_set_point(_view(), PSI) == "Supply held at 100.0 psi"
    low = _view(supply_gauge_pa=689_476.0 - 2 * 6894.757, supply_held=False)
    assert against_set_point(low, PSI) == "Supply 2.0 psi below 100.0 psi"
    assert against_set_point(_view(supply_gauge_pa=700_000.0, supply_held=False), PressureUnit.KPA) == (
        "Supply 11 kPa above 689 kPa"
    )
    assert against_set_point(_view(supply_gauge_pa=None), PSI) == "Set point 100.0 psi"


# ---- a pipe


def test_in_a_pipe_each_event_is_one_line_without_control_characters(capsys: pytest.CaptureFixture[str]) -> None:
    wall, plain = scene(2), Plain(PSI)
    speaker = Speaker(wall, "b", "boot1")
    speaker._seq = {"event": 2}
    plain.tell(speaker.event(Marked(1, 12.5, "note", "oil\x1b[2J\ncap\r", "operator")))
    for now_s in (1.5, 9.0, 11.0):
        plain.draw(wall.views(now_s))
    out = capsys.readouterr().out
    first, *states = out.splitlines()
    assert first[8:] == "  b  Mark: note oil\ufffd[2J cap"
    nothing = "SUPPLY - NOT HELD | CYLINDER SIDE - | LOSS -.- %"
    pressures = "SUPPLY 100.0 psi HELD | CYLINDER SIDE 89.9 psi"
    assert states == [
        f"a | CYLINDER 3 | {pressures} | LOSS 10.0 % | STABLE | SETTLING, WAIT",
        f"b | CYLINDER 3 | {pressures} | LOSS 11.0 % | STABLE | SETTLING, WAIT",
        f"a | CYLINDER 3 | {nothing} | STALE | OLD DATA: NOTHING NEW FROM THE BOARD",
        f"b | CYLINDER 3 | {nothing} | STALE | OLD DATA: NOTHING NEW FROM THE BOARD",
    ], "stale is said once"
    assert all(char.isprintable() or char == "\n" for char in out)


# ---- the broker

Told = Callable[[str], None]
There = Callable[[], None]
Messages = AsyncIterator[tuple[str, dict[str, Any]]]
Script = Callable[[Told, There], Messages]


def play(monkeypatch: pytest.MonkeyPatch, script: Script) -> None:
    """The broker says what `script` yields, and tells its faults as `script` does."""
    monkeypatch.setattr(
        watch, "subscribe", lambda settings, bench, *, on_fault, on_connected: script(on_fault, on_connected)
    )


async def _away(tell: Told, there: There) -> Messages:
    there()
    for fault in ("refused", "refused", "timed out", "timed out"):
        tell(fault)
    there()
    yield "boretight/v1/a/live", LIVE | {"loss_pct": float("inf")}
    yield "boretight/v1/a/live", LIVE
    tell("timed out")
    raise ConfigError("enough")


@pytest.mark.parametrize("as_json", [True, False])
def test_a_broker_that_is_away_is_told_once_and_that_it_is_back_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], as_json: bool
) -> None:
    play(monkeypatch, _away)
    settings = MqttSettings("a")
    shown = watch._print_json(settings, None) if as_json else watch._show(settings, None, PSI)
    with pytest.raises(ConfigError, match="enough"):
        asyncio.run(shown)
    said = capsys.readouterr()
    assert said.err.splitlines() == [
        "boretight: refused; trying again",
        "boretight: timed out; trying again",
        f"boretight: MQTT broker {settings.address}: there again",
        "boretight: timed out; trying again",
    ]
    assert [json.loads(line)["loss_pct"] for line in said.out.splitlines()] == ([LIVE["loss_pct"]] if as_json else [])


def test_a_wall_knows_whether_its_broker_is_there() -> None:
    wall = Wall()
    broker = watch._Broker(MqttSettings("a"), wall)
    broker.lost("refused")
    assert not wall.broker
    broker.there()
    assert wall.broker


def test_a_drawing_that_fails_ends_the_watch(monkeypatch: pytest.MonkeyPatch) -> None:
    async def silence(tell: Told, there: There) -> Messages:
        yield "boretight/v1/a/live", LIVE
        await asyncio.Event().wait()

    def fail(screen: object, views: list[View]) -> None:
        raise BrokenPipeError

    play(monkeypatch, silence)
    monkeypatch.setattr(Plain, "each_s", 0.0)
    monkeypatch.setattr(Plain, "draw", fail)
    with pytest.raises(BrokenPipeError):
        asyncio.run(asyncio.wait_for(watch._show(MqttSettings("a"), None, PSI), 60))
