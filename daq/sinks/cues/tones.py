"""The tones before the words: how many, how high and which way tells how urgent it is, in a loud place. Pure.

Frequencies between 700 and 2000 Hz carry over an engine shop and through ear muffs better than lower ones, and suffer
less from hearing that is worn than higher ones (common practice, no source).
"""

from __future__ import annotations

import io
import wave

import numpy as np
import numpy.typing as npt

from daq.records import CueLevel

RATE_HZ = 22_050
EDGE_S = 0.008
"""Tones rise and fall over this time; without, each would begin with a click."""
PAUSE_S = 0.06

# (frequency in Hz, length in s), one after the other: one soft, two rising, two falling, six fast and high.
MELODIES: dict[CueLevel, tuple[tuple[float, float], ...]] = {
    CueLevel.NEWS: ((880.0, 0.12),),
    CueLevel.DO: ((880.0, 0.12), (1320.0, 0.18)),
    CueLevel.CAUTION: ((1320.0, 0.18), (880.0, 0.3)),
    CueLevel.ALARM: ((1760.0, 0.12), (1320.0, 0.12)) * 3,
}


def melody(level: CueLevel, volume: float) -> npt.NDArray[np.int16]:
    """Samples at `RATE_HZ`; `volume` from 0 to 1."""
    pause = np.zeros(round(PAUSE_S * RATE_HZ))
    parts = [part for tone in MELODIES[level] for part in (_tone(*tone), pause)]
    return np.asarray(np.rint(np.concatenate(parts) * volume * 32_767), dtype=np.int16)


def _tone(frequency_hz: float, length_s: float) -> npt.NDArray[np.float64]:
    t_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    edge = np.clip(np.minimum(t_s, length_s - t_s) / EDGE_S, 0.0, 1.0)
    return np.asarray(edge * np.sin(2 * np.pi * frequency_hz * t_s))


def wav(samples: npt.NDArray[np.int16]) -> bytes:
    """As a file of one channel. Ref: RIFF WAVE, PCM, 16 bits."""
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(samples.astype("<i2").tobytes())
    return out.getvalue()
