"""The sink of cues: what is urgent cuts in, what is old is not told any more, and nobody ever waits for it."""

from __future__ import annotations

import asyncio
import logging
import time
from collections import deque
from collections.abc import Callable

from daq.records import Cue, CueLevel, Delivery
from daq.sinks.cues.sound import Sound
from daq.sinks.cues.words import Phrases

OLD_S = 6.0
"""A cue that could not be told for so long is told no more: by then something else is so."""
MOST_WAITING = 4
LOUD_FAULTS = 3
"""After so many faults in a row the sound is given up; the cues are still published."""

_log = logging.getLogger(__name__)


class CueSink:
    """Plays tones and speaks. `write` only lays a cue down, and returns at once."""

    name = "cues"

    def __init__(
        self, sound: Sound, phrases: Phrases | None = None, *, mono_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._sound, self._phrases, self._mono_s = sound, phrases or Phrases(), mono_s
        self._waiting: deque[tuple[float, Cue]] = deque(maxlen=MOST_WAITING)
        self._something = asyncio.Event()
        self._worker: asyncio.Task[None] | None = None
        self._telling: asyncio.Task[None] | None = None
        self._level = CueLevel.NEWS
        self._faults = 0

    async def open(self) -> None:
        self._worker = asyncio.create_task(self._work(), name="cues")

    async def write(self, delivery: Delivery) -> None:
        for record in delivery.records:
            if isinstance(record, Cue) and self._faults < LOUD_FAULTS:
                self._lay_down(record)

    async def close(self) -> None:
        """What is being told is told to its end, if that is soon."""
        if self._telling is not None:
            await asyncio.wait({self._telling}, timeout=1.0)
        if self._worker is not None:
            self._worker.cancel()
            await asyncio.gather(self._worker, return_exceptions=True)

    def _lay_down(self, cue: Cue) -> None:
        """An alarm does not wait for anything, nor is anything before it of interest any more."""
        if cue.level is CueLevel.ALARM:
            self._waiting.clear()
            if self._telling is not None and self._level is not CueLevel.ALARM:
                self._telling.cancel()
        self._waiting.append((self._mono_s(), cue))
        self._something.set()

    async def _work(self) -> None:
        try:
            while True:
                await self._something.wait()
                while self._waiting:
                    laid_s, cue = self._waiting.popleft()
                    if self._mono_s() - laid_s <= OLD_S:
                        await self._told(cue)
                self._something.clear()
        finally:
            if self._telling is not None:
                self._telling.cancel()
                await asyncio.gather(self._telling, return_exceptions=True)

    async def _told(self, cue: Cue) -> None:
        self._level = cue.level
        self._telling = asyncio.create_task(self._tell(cue))
        await asyncio.wait({self._telling})
        if self._telling.cancelled():
            return
        error = self._telling.exception()
        self._faults = 0 if error is None else self._faults + 1
        if error is not None:
            _log.warning("a cue could not be heard: %s", error)
            if self._faults == LOUD_FAULTS:
                _log.warning("no more cues by sound; they are still shown and published")

    async def _tell(self, cue: Cue) -> None:
        """Tones first: they are heard where words are not."""
        await self._sound.play(cue.level)
        await self._sound.speak(self._phrases.of(cue))
