"""What a board measures now, for commands that talk with a person meanwhile: the line is read in a thread."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from types import TracebackType

import numpy as np

from daq.calibrate.plateaus import SETTLED_PER_S, at_rest
from daq.config import Config
from daq.driver import Driver
from daq.errors import BoretightError, UnavailableError
from daq.measure.calibration import pressures, to_volts
from daq.measure.ticks import TickGrid
from daq.pipeline import Pipeline
from daq.records import Board, Calibration, Floats, LinkChange, Samples, Ticks
from daq.sources.ports import LineSettings
from daq.sources.serial_line import SerialLine

_LOOK_S = 0.2  # a wait without end could not be broken off on Windows


class LiveTicks:
    """`with LiveTicks(settings, config) as live: for ticks in live: ...` until the line is lost or the block is left.

    Raises what the line raises: no port, no board. `board` is there with the first ticks.
    """

    def __init__(self, settings: LineSettings, config: Config) -> None:
        self._line = SerialLine(settings, once=True)
        self._driver = Driver(
            Pipeline(config.measuring_instrument(), config.calibration_record(), config.engine.order())
        )
        self._grid = TickGrid()
        self._queue: queue.Queue[Ticks | None] = queue.Queue()  # None: the line has ended
        self._error: BoretightError | None = None
        self._board: Board | None = None
        self._thread = threading.Thread(target=self._run, name="live-ticks", daemon=True)

    @property
    def board(self) -> Board:
        if self._board is None:
            raise UnavailableError("No board has answered yet.", "Wait for it, or check the line.")
        return self._board

    def __enter__(self) -> LiveTicks:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._line.stop()
        self._thread.join()

    def __iter__(self) -> Iterator[Ticks]:
        """What comes from now on; waits for it."""
        while True:
            try:
                item = self._queue.get(timeout=_LOOK_S)
            except queue.Empty:
                continue
            if item is not None:
                yield item
            elif self._error is not None:
                raise self._error
            else:
                return

    def forget(self) -> None:
        """Drops what has come while nobody looked."""
        while not self._queue.empty():
            if self._queue.get_nowait() is None:
                self._queue.put(None)
                return

    # ---- in the thread

    def _run(self) -> None:
        try:
            asyncio.run(self._read())
        except BoretightError as error:
            self._error = error
        finally:
            self._queue.put(None)

    async def _read(self) -> None:
        async for item in self._line.inputs():
            for record in self._driver.step(item).records:
                if isinstance(record, LinkChange) and record.up:
                    self._board = record.board
                elif isinstance(record, Samples) and (ticks := self._grid.feed(record)).t_s.size:
                    self._queue.put(ticks)


STILL_S = 2.0
PATIENCE_S = 15.0


@dataclass(frozen=True, slots=True)
class Still:
    """Means over two seconds in which nothing moved."""

    supply_v: float
    cylinder_v: float
    supply_pa: float
    cylinder_pa: float


def wait_until_still(live: LiveTicks, calibration: Calibration, set_point_pa: float) -> Still | None:
    """From now on; None if the pressures do not come to rest within 15 s, or the line ends."""
    live.forget()
    rows = np.empty((5, 0))
    for ticks in live:
        rows = np.column_stack([rows, _measured(ticks, live.board, calibration)])
        latest = rows[:, rows[0] > rows[0, -1] - STILL_S]
        whole = rows[0, -1] - rows[0, 0] >= STILL_S
        if whole and at_rest(latest[0], latest[3:], SETTLED_PER_S * set_point_pa):
            return Still(*latest[1:].mean(axis=1).tolist())
        if rows[0, -1] - rows[0, 0] > PATIENCE_S:
            break
    return None


def _measured(ticks: Ticks, board: Board, calibration: Calibration) -> Floats:
    """Time, both voltages, both pressures: shape (5, n)."""
    volts = [
        to_volts(count, ticks.reference, board.bits, board.reference_mode, calibration.reference_v)
        for count in (ticks.supply_count, ticks.cylinder_count)
    ]
    gauge = pressures(ticks, board, calibration)
    return np.stack([ticks.t_s, *volts, gauge.supply_gauge_pa, gauge.cylinder_gauge_pa])
