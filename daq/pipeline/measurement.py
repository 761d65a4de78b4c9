"""All that is measured in one segment, stage by stage."""

from __future__ import annotations

from daq.measure.air import AirMonitor
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
from daq.measure.zero import ZeroMonitor
from daq.pipeline.board_flags import BoardFlags
from daq.records import Board, Calibration, Event, Instrument, Record, StableReading, Tap, Ticks


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
        broken = self._faults.feed(gauge, self._resolution_pa)
        believed = held & ~self._faults.spoilt
        taps = self._taps.feed(gauge, believed, self._faults.spoilt)
        calm = believed & ~self._taps.falling
        stable, windows = self._stability.feed(gauge, calm, [*self._anew, *taps])
        self._anew = []
        found = [self._reading(window) for window in windows]
        faults = [*broken, *self._crank.feed(gauge, believed, stable, taps)]
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
