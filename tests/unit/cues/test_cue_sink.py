"""Cues for the ear, with programs of our own in the place of a loudspeaker."""

from __future__ import annotations

import asyncio
import io
import sys
import wave
from collections.abc import Awaitable, Callable
from pathlib import Path

import numpy as np
import pytest

from daq.errors import ConfigError
from daq.procedure.cues import WORDS
from daq.records import Cue, CueLevel, Delivery
from daq.sinks.cues import CueSink, Phrases, Sound, find_sound
from daq.sinks.cues import sound as sound_module
from daq.sinks.cues.sink import LOUD_FAULTS, MOST_WAITING, OLD_S
from daq.sinks.cues.tones import EDGE_S, RATE_HZ, melody, wav

# Notes what it was given, with the first word of its command line, and takes the time of its second.
RECORDER = """
import sys, time
content = sys.stdin.buffer.read()
with open(sys.argv[1], "ab") as file:
    file.write((sys.argv[2] + " " + (content[:4] if sys.argv[2] == "play" else content).decode() + "\\n").encode())
time.sleep(float(sys.argv[3]))
"""


def programs(log: Path, takes_s: float = 0.0) -> Sound:
    def command(word: str) -> tuple[str, ...]:
        return (sys.executable, "-c", RECORDER, str(log), word, str(takes_s))

    return Sound(command("play"), command("speak"))


def cue(text: str, level: CueLevel = CueLevel.NEWS) -> Cue:
    return Cue(1, 1.0, "captured", level, text, 2, {"cylinder": "2", "loss": "6.1"})


def heard(log: Path) -> list[str]:
    return log.read_text().splitlines() if log.exists() else []


async def until(condition: Callable[[], object]) -> None:
    async with asyncio.timeout(20):
        while not condition():
            await asyncio.sleep(0.01)


def scene(sink: CueSink, act: Callable[[], Awaitable[None]]) -> None:
    async def whole() -> None:
        await sink.open()
        try:
            await act()
        finally:
            await sink.close()

    asyncio.run(whole())


def deliver(sink: CueSink, *cues: Cue) -> Awaitable[None]:
    return sink.write(Delivery(cues, {1: 0.0}))


def test_tones_come_first_and_then_the_words(tmp_path: Path) -> None:
    log = tmp_path / "log"
    sink = CueSink(programs(log))

    async def act() -> None:
        await deliver(sink, cue("Cylinder 2."), cue("Tap now.", CueLevel.DO))
        await until(lambda: len(heard(log)) == 4)

    scene(sink, act)
    assert heard(log) == ["play RIFF", "speak Cylinder 2.", "play RIFF", "speak Tap now."]


def test_an_alarm_cuts_in_and_takes_the_place_of_what_waits(tmp_path: Path) -> None:
    log = tmp_path / "log"
    sink = CueSink(programs(log, takes_s=60.0))

    async def act() -> None:
        await deliver(sink, cue("a long story"), cue("more of it"))
        await until(lambda: heard(log) == ["play RIFF"])
        sink._sound = programs(log)
        await deliver(sink, cue("Crank moved.", CueLevel.ALARM))
        await until(lambda: "speak Crank moved." in heard(log))

    scene(sink, act)
    assert heard(log) == ["play RIFF", "play RIFF", "speak Crank moved."]


def test_a_program_that_hangs_never_holds_the_writer_up(tmp_path: Path) -> None:
    sink = CueSink(programs(tmp_path / "log", takes_s=60.0))
    returned = []

    async def act() -> None:
        for number in range(100):
            await deliver(sink, cue(f"number {number}"))
            returned.append(number)
        assert len(sink._waiting) == MOST_WAITING

    scene(sink, act)
    assert len(returned) == 100


def test_a_program_that_hangs_is_ended(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(sound_module, "LONGEST_S", 0.2)
    with pytest.raises(TimeoutError, match="did not end within"):
        asyncio.run(programs(tmp_path / "log", takes_s=60.0).speak("never ends"))


def test_what_is_old_is_not_told_any_more(tmp_path: Path) -> None:
    log, now_s = tmp_path / "log", 0.0
    sink = CueSink(programs(log), mono_s=lambda: now_s)

    async def act() -> None:
        nonlocal now_s
        sink._lay_down(cue("old"))
        now_s = OLD_S + 1.0
        sink._lay_down(cue("new"))
        await until(lambda: len(heard(log)) == 2)

    scene(sink, act)
    assert heard(log) == ["play RIFF", "speak new"]


@pytest.mark.parametrize("command", [("/no/such/program",), (sys.executable, "-c", "raise SystemExit(3)")])
def test_a_machine_that_makes_no_sound_is_left_alone_after_some_faults(command: tuple[str, ...]) -> None:
    sink = CueSink(Sound(command, command))

    async def act() -> None:
        for faults in range(1, LOUD_FAULTS + 1):
            await deliver(sink, cue("a word"))
            await until(lambda expected=faults: sink._faults == expected)
        await deliver(sink, cue("a word too many"))
        assert not sink._waiting

    scene(sink, act)


def test_a_volume_of_zero_is_silence(tmp_path: Path) -> None:
    log = tmp_path / "log"
    loud = programs(log)
    silent = Sound(loud.player, loud.speaker, volume=0.0)

    async def act() -> None:
        await silent.play(CueLevel.ALARM)
        await silent.speak("nothing")

    asyncio.run(act())
    assert heard(log) == []


def test_what_the_machine_has_is_found(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for program in ("aplay", "espeak-ng"):
        path = tmp_path / program
        path.write_text("#!/bin/sh\n")
        path.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    found = find_sound(0.5, "de", 150, speak=True)
    assert found.player == ("aplay", "-q", "-")
    assert found.speaker == ("espeak-ng", "-v", "de", "-s", "150", "-a", "100", "--stdin")
    assert find_sound(0.5, "de", 150, speak=False).speaker == ()
    monkeypatch.setenv("PATH", "")
    assert find_sound(0.5, "de", 150, speak=True) == Sound((), (), 0.5)


# ---- tones


@pytest.mark.parametrize("level", CueLevel)
def test_tones_are_a_file_that_players_take(level: CueLevel) -> None:
    samples = melody(level, 0.5)
    with wave.open(io.BytesIO(wav(samples))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE_HZ)
        assert file.readframes(file.getnframes()) == samples.astype("<i2").tobytes()
    assert 0.45 < np.abs(samples).max() / 32_767 <= 0.5
    assert np.abs(np.diff(samples[: round(EDGE_S * RATE_HZ / 4)].astype(int))).max() < 2500, "no click at the begin"


def test_levels_can_be_told_apart_without_words() -> None:
    pictures = set()
    for level in CueLevel:
        samples = melody(level, 1.0).astype(float)
        half = len(samples) // 2
        pitch = [round(np.count_nonzero(np.diff(np.sign(part)))) for part in (samples[:half], samples[half:])]
        pictures.add((len(samples), *pitch))
    assert len(pictures) == len(CueLevel)


# ---- words


def test_words_of_another_language(tmp_path: Path) -> None:
    file = tmp_path / "de.toml"
    file.write_text('captured = "Zylinder {cylinder}: {loss} Prozent."\ntap = ""\n')
    phrases = Phrases.read(file)
    assert phrases.of(cue("english")) == "Zylinder 2: 6.1 Prozent."
    assert phrases.of(Cue(1, 1.0, "tap", CueLevel.NEWS, "Tap.")) == ""
    assert phrases.of(Cue(1, 1.0, "paused", CueLevel.NEWS, "Paused.")) == "Paused."


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('captured = "{colour}"', "captured: there is no value {colour}"),
        ('nonsense = "x"', "there is no cue nonsense"),
        ('captured = "{loss:d}"', "captured: "),
        ('captured = "{loss.real.x}"', "captured: "),
        ("tap = 3", "tap: not a text"),
        ('tap = "{"', "tap: "),
        ("tap = ", "cannot be read"),
    ],
)
def test_wrong_words_are_named(tmp_path: Path, text: str, fault: str) -> None:
    file = tmp_path / "words.toml"
    file.write_text(text)
    with pytest.raises(ConfigError, match="cues") as refused:
        Phrases.read(file)
    assert fault in str(refused.value)


def test_every_cue_has_a_text_that_its_values_fill() -> None:
    assert all(text.strip() for _, text in WORDS.values())
