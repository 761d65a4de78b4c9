"""The one pipeline of live, replay and simulation: composition only.

Inputs -> frames -> samples -> ticks -> pressures -> readings -> events. The same bytes, split in any way, give the
same records: bit for bit, in the same order within each kind.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

import numpy as np

from daq.measure.air import AirMonitor
from daq.measure.board_clock import BoardClock
from daq.measure.calibration import calibrated_instrument, pressures, resolution_pa
from daq.measure.crank import CrankMonitor
from daq.measure.faults import FaultMonitor
from daq.measure.fill import FillEstimator
from daq.measure.leakage import readings
from daq.measure.no_pressure import NoPressureMonitor
from daq.measure.reading import stable_reading
from daq.measure.soft_step import SoftStepMonitor
from daq.measure.stability import StabilityMonitor, StableWindow
from daq.measure.supply import SupplyMonitor
from daq.measure.taps import TapDetector
from daq.measure.ticks import TickGrid
from daq.measure.zero import ZeroMonitor
from daq.procedure import EngineOrder, Procedure, TestPlan
from daq.procedure.states import AWAITS_READING
from daq.records import (
    BadLines,
    Board,
    BoardFault,
    Calibration,
    Chunk,
    Event,
    Gap,
    Input,
    Instrument,
    LineFormat,
    LinkChange,
    LinkDown,
    LinkUp,
    Mark,
    Marked,
    MarkKind,
    Record,
    Restarted,
    Resume,
    Samples,
    StableReading,
    Tap,
    Ticks,
)
from daq.wire import (
    BadFrame,
    BareBlock,
    BareDecoder,
    Boot,
    Decoder,
    Flag,
    Frame,
    Heartbeat,
    InputEvent,
    Reply,
    SampleBlock,
)

BARE_WARNING = (
    "The board prints bare numbers: no checksum, no sequence number, no clock. A damaged or lost line cannot be "
    "seen, and times are those of arrival."
)
MARK_BUTTON = 1
RESTARTS = (MarkKind.AGAIN, MarkKind.GO_ON, MarkKind.ACKNOWLEDGE)
"""Marks that may find a reading stable of which all has been told."""
MOST_SET_BACK_S = 1.0


class Measurement:
    """From ticks to readings and their events, for one segment. Knows nothing of lines and links.

    `at_s` is the host's time at which the board was opened: it tells how old the calibration is. `zero` outlives the
    segment, as the sensors do.
    """

    def __init__(
        self, instrument: Instrument, calibration: Calibration, board: Board, at_s: float, zero: ZeroMonitor
    ) -> None:
        self._instrument = instrument = calibrated_instrument(instrument, calibration)
        self._calibration, self._board, self._at_s = calibration, board, at_s
        self._zero, self._faults, self._crank = zero, FaultMonitor(instrument, calibration), CrankMonitor(instrument)
        self._supply = SupplyMonitor(instrument)
        self._air, self._soft_step = AirMonitor(instrument), SoftStepMonitor(instrument)
        self._no_pressure = NoPressureMonitor(instrument)
        self._flags = BoardFlags()
        self._anew: list[Tap] = []
        self._first_s: float | None = None

    def tell_anew(self, segment: int, t_s: float) -> None:
        """What is stable after this is told although it was before, as it would be after a tap that moved nothing."""
        self._anew = [Tap(segment, t_s, t_s, 0.0, 0.0)]

    def _begin(self, ticks: Ticks) -> None:
        """What only the first tick tells: when the segment began, and what a count is worth."""
        self._first_s = float(ticks.t_s[0])
        self._resolution_pa = resolution_pa(self._board, self._calibration, float(ticks.reference[0]))
        self._stability = StabilityMonitor(self._instrument, self._resolution_pa)
        self._taps = TapDetector(self._instrument, self._resolution_pa)
        self._fill = FillEstimator(self._instrument, self._calibration, self._at_s, self._resolution_pa)

    def _reading(self, window: StableWindow) -> StableReading:
        assert self._first_s is not None
        at_s = self._at_s + window.t_s - self._first_s
        zeroed = self._zero.taken_off(window.segment, window.t_s - window.window_s)
        return stable_reading(window, self._instrument, self._calibration, at_s, self._resolution_pa, zeroed)

    def feed(self, ticks: Ticks) -> tuple[list[Record], list[Event]]:
        """Readings of these ticks, and their events in the order of time; a tie goes by the order below."""
        if self._first_s is None:
            self._begin(ticks)
        gauge, zero_checks = self._zero.feed(pressures(ticks, self._board, self._calibration))
        held, supply_changes = self._supply.feed(gauge)
        air_changes = self._air.feed(gauge)
        taps = self._taps.feed(gauge, held)
        broken = self._faults.feed(gauge, self._resolution_pa)
        stable, windows = self._stability.feed(gauge, held & ~self._faults.spoilt, [*self._anew, *taps])
        self._anew = []
        found = [self._reading(window) for window in windows]
        faults = [*broken, *self._crank.feed(gauge, held, stable, taps)]
        events: list[Event] = [*self._flags.feed(ticks), *zero_checks, *faults, *supply_changes, *air_changes]
        events += [
            *self._soft_step.feed(gauge),
            *self._no_pressure.feed(gauge, held, zero_checks),
            *taps,
            *found,
            *self._fill.feed(gauge, stable),
        ]
        events.sort(key=lambda event: event.t_s)
        return [readings(gauge, held, stable, self._instrument)], events


class BoardFlags:
    """Tells when a warning flag of the board comes up; it is told again only after it was down."""

    WARNINGS = (
        (Flag.OVERRUN, "sampling-overrun", "The board could not convert in time; lower the rate."),
        (Flag.TRANSMIT_DROP, "transmit-drop", "The board dropped lines; lower the rate or raise the baud rate."),
        (Flag.REFERENCE_LOW, "reference-low", "The sensor supply sags; check the USB cable and hub."),
        (Flag.REFERENCE_HIGH, "reference-high", "The sensor supply is too high; check the wiring of the reference."),
        (Flag.SATURATED, "saturated", "A channel reads the end of the scale; sensor open, shorted or over range."),
    )

    def __init__(self) -> None:
        self._up = 0

    def feed(self, ticks: Ticks) -> list[Event]:
        """One BoardFault for each flag that rises within these ticks."""
        before = np.concatenate(([self._up], ticks.flags[:-1])) if ticks.flags.size else ticks.flags
        rising = ticks.flags & ~before
        self._up = int(ticks.flags[-1]) if ticks.flags.size else self._up
        return [
            BoardFault(ticks.segment, float(ticks.t_s[row]), fault, text)
            for row in np.flatnonzero(rising)
            for flag, fault, text in self.WARNINGS
            if rising[row] & flag
        ]


class Pipeline:
    """Feed it inputs in their order; each call gives the records that follow from them.

    `lines` counts, over the whole life: good samples, missing ones, and rejected lines by reason.
    """

    def __init__(
        self,
        instrument: Instrument,
        calibration: Calibration,
        plan: TestPlan | EngineOrder,
        *,
        adjust_zero: bool = True,
    ) -> None:
        """`plan` is that of a test which begins by itself with the first air; the order of an engine alone will do.

        Without `adjust_zero` the zero is not touched, as while the channels themselves are calibrated."""
        self._instrument, self._calibration = instrument, calibration
        self._zero = ZeroMonitor(calibration, adjust_zero)
        self._procedure = Procedure(plan)
        self._board: Board | None = None
        self._decoder: Decoder | BareDecoder | None = None
        self._segment = 0
        self._t_s = 0.0
        self._linked_s = 0.0
        self._bad: Counter[str] = Counter()
        self._bad_evidence = b""
        self._waiting: list[Samples] = []
        self.lines: Counter[str] = Counter()

    def feed(self, item: Input) -> list[Record]:
        match item:
            case Chunk():
                return list(self._chunk(item))
            case Mark():
                return self._mark(item)
            case LinkUp():
                return list(self._link_up(item))
            case LinkDown():
                return list(self._link_down(item.reason))
            case Resume():
                self._procedure.resume(item.events)
                return [self._procedure.session(self._segment, self._t_s)]

    def finish(self) -> list[Record]:
        """The source has ended for good: close what is open."""
        return list(self._close_segment())

    # ---- the link

    def _link_up(self, item: LinkUp) -> Iterator[Record]:
        yield from self._close_segment()
        self._board, self._linked_s = item.board, item.at_s
        self._decoder = BareDecoder() if item.board.line_format is LineFormat.BARE else Decoder()
        self._open_segment()
        reason = BARE_WARNING if item.board.line_format is LineFormat.BARE else ""
        yield from self._test(LinkChange(self._segment, self._t_s, True, reason, item.board))
        yield self._procedure.session(self._segment, self._t_s)

    def _link_down(self, reason: str) -> Iterator[Record]:
        if self._board is None:
            return
        yield from self._close_segment()
        yield from self._test(LinkChange(self._segment, self._t_s, False, reason, self._board))
        self._board = self._decoder = None

    def _open_segment(self) -> None:
        assert self._board is not None
        self._segment += 1
        self._t_s = 0.0
        self._first_arrival_s: float | None = None
        self._clock = BoardClock(self._board.rate_hz)
        self._grid = TickGrid()
        self._grid.reset(self._segment)
        self._measurement = Measurement(self._instrument, self._calibration, self._board, self._linked_s, self._zero)

    def _close_segment(self) -> Iterator[Record]:
        if self._board is None:
            return
        yield from self._measure_samples()
        yield from self._measure(self._grid.finish())
        yield from self._report_bad_lines(self._t_s)

    def _restart(self, cause: str, boot_count: int | None, clock_s: float) -> Iterator[Record]:
        """A new segment, whose clock stands at `clock_s` now."""
        yield from self._close_segment()
        self._open_segment()
        self._t_s = clock_s
        yield Restarted(self._segment, self._t_s, cause, boot_count)

    # ---- the frames

    def _chunk(self, chunk: Chunk) -> Iterator[Record]:
        if self._decoder is None:
            self.lines["bytes-before-handshake"] += len(chunk.data)
            return
        for frame in self._decoder.feed(chunk.data):
            if not isinstance(frame, SampleBlock | Heartbeat):
                yield from self._measure_samples()
            yield from self._frame(frame, chunk.arrived_s)
        yield from self._measure_samples()

    def _frame(self, frame: Frame, arrived_s: float) -> Iterator[Record]:
        match frame:
            case SampleBlock():
                yield from self._block(frame)
            case BareBlock():
                yield from self._bare_block(frame, arrived_s)
            case BadFrame():
                self._count_bad(frame)
            case _:
                yield from self._news(frame)

    def _news(self, frame: Heartbeat | InputEvent | Boot | Reply) -> Iterator[Record]:
        """What a board says of itself, beside its samples."""
        match frame:
            case Heartbeat():
                if self._clock.heartbeat(frame.clock_us) is None:
                    yield from self._restart("clock-went-back", None, frame.clock_us * 1e-6)
            case InputEvent(number=number, pressed=True) if number == MARK_BUTTON:
                yield from self._test(Marked(self._segment, self._t_s, MarkKind.NEXT.value, "", "board"))
            case Boot():
                yield from self._restart(frame.cause.name.lower().replace("_", "-"), frame.boot_count, 0.0)
            case Reply(status=status) if status != 0:
                detail = f"{status} {frame.text}"
                yield from self._test(BoardFault(self._segment, self._t_s, "command-refused", detail))

    def _block(self, block: SampleBlock) -> Iterator[Record]:
        """Unwraps the clock, and cuts the block where samples are missing or the clock went back."""
        clock = self._clock.feed(block.sequence, block.clock_us)
        if clock.whole:
            self._samples(clock.t_us, block, slice(None))
            return
        cuts = [int(row) for row in np.flatnonzero(clock.missing[1:]) + 1]
        rows = len(clock.t_us)
        for start, stop in zip([0, *cuts], [*cuts, rows], strict=True):
            if start < rows and clock.missing[start]:
                yield from self._gap(int(clock.t_us[start]), int(clock.missing[start]))
            keep = np.flatnonzero(clock.keep[start:stop]) + start
            self._samples(clock.t_us[keep], block, keep)
        if clock.restart_at is not None:
            yield from self._restart("clock-went-back", None, float(block.clock_us[clock.restart_at]) * 1e-6)
            yield from self._block(_rows_from(block, clock.restart_at))

    def _gap(self, t_us: int, missing: int) -> Iterator[Record]:
        yield from self._measure_samples()
        self.lines["missing"] += missing
        yield from self._test(Gap(self._segment, t_us * 1e-6, missing))

    def _samples(
        self, t_us: np.typing.NDArray[np.int64], block: SampleBlock, rows: np.typing.NDArray[np.intp] | slice
    ) -> None:
        if t_us.size == 0:
            return
        self._take(
            Samples(
                self._segment,
                t_us,
                block.supply_count[rows].astype(np.int64),
                block.cylinder_count[rows].astype(np.int64),
                block.reference[rows].astype(np.int64),
                block.flags[rows].astype(np.int64),
            )
        )

    def _bare_block(self, block: BareBlock, arrived_s: float) -> Iterator[Record]:
        """A bare board has no clock: its samples carry the time of arrival, counted from the first of them.

        The host's clock may be set back: by a little, time stands still for so long; by more, a segment begins.
        """
        if self._first_arrival_s is not None and arrived_s - self._first_arrival_s < self._t_s - MOST_SET_BACK_S:
            yield from self._restart("host-clock-went-back", None, 0.0)
        if self._first_arrival_s is None:
            self._first_arrival_s = arrived_s
        n = len(block.supply_count)
        t_us = max(round((arrived_s - self._first_arrival_s) * 1e6), round(self._t_s * 1e6))
        zeros = np.zeros(n, dtype=np.int64)
        supply, cylinder = block.supply_count.astype(np.int64), block.cylinder_count.astype(np.int64)
        self._take(Samples(self._segment, np.full(n, t_us, np.int64), supply, cylinder, zeros, zeros))

    def _take(self, samples: Samples) -> None:
        self.lines["samples"] += len(samples.t_us)
        self._t_s = float(samples.t_us[-1]) * 1e-6
        self._waiting.append(samples)

    def _measure_samples(self) -> Iterator[Record]:
        """What has been taken since the last call, in one piece: a replay comes in large chunks, which only the
        heartbeats between the samples would cut."""
        if not self._waiting:
            return
        samples, self._waiting = _joined(self._waiting), []
        yield samples
        yield from self._measure(self._grid.feed(samples))

    # ---- the measurement and the test

    def _measure(self, ticks: Ticks) -> Iterator[Record]:
        if ticks.t_s.size == 0:
            return
        yield from self._report_bad_lines(float(ticks.t_s[0]))
        rows, events = self._measurement.feed(ticks)
        yield from rows
        for event in events:
            yield from self._test(event)

    def _mark(self, mark: Mark) -> list[Record]:
        """A mark after which the test waits for a reading is answered by one that begins after it."""
        records = self._test(Marked(self._segment, self._t_s, mark.kind, mark.text, "operator"))
        if mark.kind in RESTARTS and self._procedure.phase in AWAITS_READING and self._board is not None:
            self._measurement.tell_anew(self._segment, self._t_s)
        return records

    def _test(self, event: Event) -> list[Record]:
        return list(self._procedure.feed(event))

    def _count_bad(self, frame: BadFrame) -> None:
        if not self._bad:
            self._bad_evidence = frame.evidence
        self._bad[frame.reason.value] += 1
        self.lines[frame.reason.value] += 1

    def _report_bad_lines(self, t_s: float) -> Iterator[Record]:
        if self._bad:
            yield BadLines(self._segment, t_s, dict(sorted(self._bad.items())), self._bad_evidence)
            self._bad = Counter()


def _joined(parts: list[Samples]) -> Samples:
    """Samples of one segment, one after the other."""
    if len(parts) == 1:
        return parts[0]
    columns = ("t_us", "supply_count", "cylinder_count", "reference", "flags")
    return Samples(parts[0].segment, *(np.concatenate([getattr(part, name) for part in parts]) for name in columns))


def _rows_from(block: SampleBlock, start: int) -> SampleBlock:
    return SampleBlock(
        block.sequence[start:],
        block.clock_us[start:],
        block.supply_count[start:],
        block.cylinder_count[start:],
        block.reference[start:],
        block.flags[start:],
    )


def run(pipeline: Pipeline, inputs: Iterable[Input]) -> Iterator[Record]:
    """The whole of a finite source, start to end."""
    for item in inputs:
        yield from pipeline.feed(item)
    yield from pipeline.finish()
