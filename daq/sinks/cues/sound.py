"""The programs that make sound, in processes of their own: one that plays, and one that speaks where there is one."""

from __future__ import annotations

import asyncio
import contextlib
import shutil
from asyncio.subprocess import DEVNULL, PIPE, Process
from dataclasses import dataclass

from daq.records import CueLevel
from daq.sinks.cues.tones import melody, wav

PLAYERS = (("paplay",), ("aplay", "-q", "-"))
"""Each plays a WAV file from its standard input. Ref: manual pages of pulseaudio-utils and alsa-utils."""
SPEAKER = "espeak-ng"
LONGEST_S = 12.0
"""No cue takes longer; what does, hangs."""
LOUDEST = 200
"""Amplitude that the speaking program takes at most. Ref: manual page of espeak-ng, option -a."""


@dataclass(frozen=True, slots=True)
class Sound:
    """`player` plays a WAV file from its standard input; `speaker` speaks its standard input; empty: there is none.

    `volume` from 0 to 1, `voice` as the speaking program names it, `words_per_min` how fast.
    """

    player: tuple[str, ...] = ()
    speaker: tuple[str, ...] = ()
    volume: float = 0.8

    async def play(self, level: CueLevel) -> None:
        """The tones of this level. OSError or TimeoutError if the program cannot do it."""
        if self.player and self.volume > 0:
            await _feed(self.player, wav(melody(level, self.volume)))

    async def speak(self, text: str) -> None:
        """The words, by the speaking program. OSError or TimeoutError if it cannot do it."""
        if self.speaker and text and self.volume > 0:
            await _feed(self.speaker, text.encode())


def find_sound(volume: float, voice: str, words_per_min: int, speak: bool) -> Sound:
    """With the programs that this machine has."""
    player = next((found for found in PLAYERS if shutil.which(found[0])), ())
    speaker: tuple[str, ...] = ()
    if speak and shutil.which(SPEAKER):
        amplitude = str(round(volume * LOUDEST))
        speaker = (SPEAKER, "-v", voice, "-s", str(words_per_min), "-a", amplitude, "--stdin")
    return Sound(player, speaker, volume)


async def _feed(command: tuple[str, ...], content: bytes) -> None:
    """Runs the program to its end. It never outlives this call, however it ends."""
    process = await asyncio.create_subprocess_exec(*command, stdin=PIPE, stdout=DEVNULL, stderr=DEVNULL)
    try:
        async with asyncio.timeout(LONGEST_S):
            await process.communicate(content)
    except TimeoutError as error:
        raise TimeoutError(f"{command[0]} did not end within {LONGEST_S:g} s") from error
    finally:
        await _end(process)
    if process.returncode:
        raise OSError(f"{command[0]} ended with {process.returncode}")


async def _end(process: Process) -> None:
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
        await process.wait()
