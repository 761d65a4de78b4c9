"""A board on a serial line as an endless, self-healing source of inputs.

One thread does nothing but open, greet and read; whatever it sees enters the event loop as an Input.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
import threading
import time
from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING

from daq.errors import BoretightError, UnavailableError
from daq.records import Board, Chunk, Input, LineFormat, LinkDown, LinkUp
from daq.sources.handshake import READ_SIZE, handshake
from daq.sources.ports import LineSettings, find, open_port
from daq.sources.rhythm import Rhythm
from daq.wire import encode_command

if TYPE_CHECKING:
    import serial

BARE_POLL_S = 0.02
"""How often a bare board is looked at: the time of what it sends is that of its arrival."""
SILENCE_S = 3.0
RETRY_FIRST_S = 0.5
RETRY_MOST_S = 5.0
_BOOT_LINE, _SAMPLE_LINE = b"\nB,", b"\nS,"

_log = logging.getLogger(__name__)


class LinkLost(Exception):
    """The line was up and is not any more; the text says what was seen."""


class SerialLine:
    """`async for item in line.inputs()` until `stop()`.

    With `once`, the first loss of the line ends the source (a scripted board that has come to its end), and a board
    that cannot be reached at the start raises.
    """

    def __init__(self, settings: LineSettings, *, once: bool = False) -> None:
        self._settings, self._once = settings, once
        self._stop = threading.Event()
        self._queue: asyncio.Queue[Input | BoretightError | None] = asyncio.Queue()
        self.trouble: BoretightError | None = None
        """Why there is no board now; None while one is there."""

    def inject(self, item: Input) -> None:
        """Puts a mark of the operator at the present place of the stream. To be called in the event loop."""
        self._queue.put_nowait(item)

    def stop(self) -> None:
        """Ends `inputs()` after what has been read so far; may be called from any thread."""
        self._stop.set()

    async def inputs(self) -> AsyncIterator[Input]:
        loop, queue = asyncio.get_running_loop(), self._queue

        def emit(item: Input | BoretightError | None) -> None:
            loop.call_soon_threadsafe(queue.put_nowait, item)

        thread = threading.Thread(target=self._run, args=(emit,), name="serial-reader", daemon=True)
        thread.start()
        try:
            while (item := await queue.get()) is not None:
                if isinstance(item, BoretightError):
                    raise item
                yield item
        finally:
            self._stop.set()

    # ---- in the thread

    def _run(self, emit: Callable[[Input | BoretightError | None], None]) -> None:
        wait_s = RETRY_FIRST_S
        while not self._stop.is_set():
            try:
                self._link(emit)
                wait_s = RETRY_FIRST_S
            except Exception as error:
                self._note(trouble := _as_trouble(error))
                if self._once:
                    emit(trouble)  # it ends the source: nobody waits for what would follow
                    return
                self._stop.wait(random.uniform(RETRY_FIRST_S, wait_s))
                wait_s = min(2 * wait_s, RETRY_MOST_S)
            if self._once:
                break
        emit(None)

    def _note(self, trouble: BoretightError) -> None:
        """Told once, however often the line is tried again. With `once` it is for the caller to tell."""
        if not self._once and str(trouble) != str(self.trouble):
            _log.warning("%s", trouble)
        self.trouble = trouble

    def _link(self, emit: Callable[[Input], None]) -> None:
        """One life of the line: open, greet, read until it is lost. A dead port is closed at once."""
        url = find(self._settings)
        port = open_port(url, self._settings.baud)
        reason = "stopped"
        up = False
        try:
            while not self._stop.is_set():
                board = self._greet(port, url, emit)
                up, self.trouble = True, None
                rhythm = Rhythm(self._settings.baud) if board.line_format is LineFormat.FRAMED else None
                self._read(port, rhythm, emit)
        except LinkLost as error:
            reason = str(error)
        except OSError as error:
            if not up:
                raise
            reason = f"the far end closed the line (cable pulled, board gone): {error}"
        except BoretightError as error:
            if not up:
                raise
            self.trouble, reason = error, "the board restarted and did not answer"
        finally:
            _close(port)
            if up:
                emit(LinkDown(time.time(), reason))

    def _greet(self, port: serial.Serial, url: str, emit: Callable[[Input], None]) -> Board:
        """Handshake, LinkUp, then start: what comes after the start is the first of the segment."""
        board: Board = handshake(port, url, self._settings, lambda data: emit(Chunk(time.time(), data)))
        emit(LinkUp(time.time(), board))
        if board.line_format is LineFormat.FRAMED:
            port.write(encode_command("INIT", None))
        return board

    def _read(self, port: serial.Serial, rhythm: Rhythm | None, emit: Callable[[Input], None]) -> None:
        """Takes what is there, again and again, until the board must be greeted again: it announced a boot, or it
        still sends lines but no more samples, as after a boot whose line was damaged. `rhythm`: None of a bare board.
        """
        held = _Held(emit)
        last_line_s = last_sample_s = time.monotonic()
        wait_s, tail = BARE_POLL_S, b""
        try:
            while not self._stop.is_set():
                time.sleep(wait_s)
                data = port.read(READ_SIZE)
                wait_s = rhythm.looked(data) if rhythm else BARE_POLL_S
                held.add(data)
                if rhythm is None or rhythm.due:
                    held.hand_on()
                if _BOOT_LINE in tail + data:
                    return
                now_s = time.monotonic()
                if b"\n" in data:
                    last_line_s = now_s
                elif now_s - last_line_s > SILENCE_S:
                    raise LinkLost(f"no line for {SILENCE_S:.0f} s")
                if rhythm is None or _SAMPLE_LINE in tail + data:
                    last_sample_s = now_s
                elif now_s - last_sample_s > SILENCE_S:
                    return
                tail = data[-2:] or tail
        finally:
            held.hand_on()


class _Held:
    """What was read and is not handed on yet."""

    def __init__(self, emit: Callable[[Input], None]) -> None:
        self._emit, self._data = emit, b""

    def add(self, data: bytes) -> None:
        self._data += data

    def hand_on(self) -> None:
        if self._data:
            self._emit(Chunk(time.time(), self._data))
            self._data = b""


def _as_trouble(error: Exception) -> BoretightError:
    """Whatever happens in the thread, acquisition must go on, and somebody must hear of it."""
    if isinstance(error, BoretightError):
        return error
    if not isinstance(error, OSError):
        _log.error("The reader of the line failed.", exc_info=error)
    return UnavailableError(
        "The line failed before a board had answered.",
        todo="Nothing if the cable was just pulled; it is tried again.",
        evidence=str(error) or type(error).__name__,
    )


def _close(port: serial.Serial) -> None:
    with contextlib.suppress(OSError):
        port.close()
