"""How the sensors of a bench came to their calibrations: lines against a gauge some time ago, a pairing since then.

Both are runs of the same sensors and the same converter on a line that somebody turns from level to level; the pairing
goes through board, pipeline and plateau finder as it does for a user. What has drifted meanwhile is uniform within
what a user is told to expect: a part of full scale for each day, and for each year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from daq.calibrate.pairing import flow_suspected, pair
from daq.calibrate.plateaus import Plateau, PlateauFinder
from daq.calibrate.transducer import calibrate_channel
from daq.errors import DataError
from daq.measure.calibration import identified, resolution_pa, to_volts
from daq.pipeline import Pipeline, run
from daq.procedure import EngineOrder
from daq.records import Board, Calibration, Chunk, Instrument, LinkUp, Readings
from simulator.board import Board as SimulatedBoard
from simulator.build import board_traits, front_end_of
from simulator.physics.bench import Bench
from simulator.physics.front_end import NOMINAL_REFERENCE_V
from simulator.scenario import Scenario, TransducersSection
from simulator.units import PSI
from tests.benchmarks.truth.dice import Dice
from tests.benchmarks.truth.sensors import FULL_SCALE_PSI, Sensor

NOW_S = 1_790_000_000.0
"""Host time at which every board is opened."""
DAY_S = 86_400.0
DRIFT_A_DAY, DRIFT_A_YEAR = 1e-4, 0.002
"""Half-widths, of full scale: of the difference of two sensors in a day, of one sensor in a year."""
LEVEL_S, TURN_S = 3.0, 0.6
"""How long a level of a pairing takes, and how much of that the hand turns the regulator."""
ROUNDS = ("up", "up", "up", "down", "up and down")


@dataclass(frozen=True)
class Calibrations:
    """What the same bench may be used with. `refused` tells why a pairing was refused; then there is none."""

    data_sheet: Calibration
    paired: Calibration | None
    calibrated: Calibration | None
    refused: str = ""


class Staircase:
    """A blocked line: both sides follow the hand that turns the regulator from level to level, from nothing."""

    def __init__(self, levels_pa: Sequence[float]) -> None:
        self._levels_pa = [0.0, *levels_pa]
        self.time_s = self.supply_gauge_pa = 0.0

    @property
    def cylinder_gauge_pa(self) -> float:
        return self.supply_gauge_pa

    @property
    def ends_s(self) -> float:
        return LEVEL_S * (len(self._levels_pa) - 1)

    def advance(self, to_s: float) -> None:
        self.time_s = to_s
        place = min(int(to_s / LEVEL_S), len(self._levels_pa) - 2)
        turned = min((to_s - place * LEVEL_S) / TURN_S, 1.0)
        before_pa, after_pa = self._levels_pa[place : place + 2]
        self.supply_gauge_pa = before_pa + turned * (after_pa - before_pa)


def calibrations(
    dice: Dice, scenario: Scenario, board: Board, instrument: Instrument, sensors: tuple[Sensor, Sensor]
) -> Calibrations:
    """All of them; the same dice give the same."""
    supply, cylinder = (sensor.data_sheet() for sensor in sensors)
    sheet = identified(Calibration("", "data sheet", "", NOMINAL_REFERENCE_V, supply, cylinder))
    lines = _lines(dice, scenario, board, sheet, sensors)
    age_days = dice.log(dice.ranges.pairing_age_days)
    drift_psi = dice.between((-1.0, 1.0)) * DRIFT_A_DAY * FULL_SCALE_PSI * age_days
    then = sensors[0].earlier(0.0), sensors[1].earlier(drift_psi)
    levels_pa = _levels(dice, instrument.set_point_pa)
    data = _blocked_run(_with(scenario, then), levels_pa, dice.whole((0, 2**31)))
    made_s = NOW_S - age_days * DAY_S
    try:
        paired, calibrated = (_paired(each, board, instrument, data, made_s) for each in (sheet, lines))
    except DataError as refusal:
        return Calibrations(sheet, None, None, str(refusal))
    return Calibrations(sheet, paired, calibrated)


def _levels(dice: Dice, set_point_pa: float) -> list[float]:
    count, way = dice.whole(dice.ranges.plateaus), dice.one_of(*ROUNDS)
    rising = np.linspace(dice.between((0.25, 0.4)), dice.between((0.95, 1.05)), count) * set_point_pa
    ways = {"up": rising, "down": rising[::-1], "up and down": np.concatenate((rising[::2], rising[1::2][::-1]))}
    return [float(level) for level in ways[way]]


def _with(scenario: Scenario, sensors: tuple[Sensor, Sensor]) -> Scenario:
    supply, cylinder = (sensor.section() for sensor in sensors)
    return scenario.model_copy(update={"transducer": TransducersSection(supply=supply, cylinder=cylinder)})


# ---- pairing


def _blocked_run(scenario: Scenario, levels_pa: Sequence[float], seed: int) -> bytes:
    """What the board sends while somebody turns the regulator, outlet blocked."""
    line = Staircase(levels_pa)
    front_end = front_end_of(scenario, cast(Bench, line), seed)
    board = SimulatedBoard(board_traits(scenario), front_end)
    board.start()
    front_end.begin(0.0)
    return board.advance(line.ends_s)


def _paired(lines: Calibration, board: Board, instrument: Instrument, data: bytes, made_s: float) -> Calibration:
    """The lines with a pairing of what these bytes show. Raises DataError."""
    finder = PlateauFinder(instrument.set_point_pa)
    plateaus: list[Plateau] = []
    for record in run(Pipeline(instrument, lines, EngineOrder("", (1,))), [LinkUp(0.0, board), Chunk(0.0, data)]):
        if isinstance(record, Readings):
            plateaus += finder.feed(record.t_s, record.supply_gauge_pa, record.cylinder_gauge_pa)
    good = [plateau for plateau in plateaus if not flow_suspected(plateau, lines)]
    result = pair(good, lines, instrument.set_point_pa, made_s, resolution_pa(board, lines))
    return identified(replace(lines, calibration_id="", pairing=replace(result.pairing, pairing_id="simulated")))


# ---- lines


def _lines(
    dice: Dice, scenario: Scenario, board: Board, sheet: Calibration, sensors: tuple[Sensor, Sensor]
) -> Calibration:
    """Both channels against one gauge, six levels up and down again, as they were when it was done."""
    age_days = dice.between(dice.ranges.lines_age_days)
    most_psi = DRIFT_A_YEAR * FULL_SCALE_PSI * age_days / 365.25
    first, second = (sensor.earlier(dice.between((-1.0, 1.0)) * most_psi) for sensor in sensors)
    rising = np.linspace(0.0, dice.between((0.7, 1.0)) * FULL_SCALE_PSI * PSI, 6)
    true_pa = np.concatenate((rising, rising[-2::-1]))
    u_gauge_pa = dice.between(dice.ranges.gauge_share) * sensors[0].class_psi * PSI
    shown_pa = true_pa * (1 + float(dice.rng.standard_normal()) * u_gauge_pa / rising[-1])
    volts = _volts(_with(scenario, (first, second)), board, true_pa, dice.whole((0, 2**31)))
    supply, cylinder = (
        calibrate_channel(name, shown_pa, column, channel, u_gauge_pa, NOW_S - age_days * DAY_S).channel
        for name, column, channel in zip(("supply", "cylinder"), volts.T, (sheet.supply, sheet.cylinder), strict=True)
    )
    return identified(replace(sheet, calibration_id="", origin="calibrated", supply=supply, cylinder=cylinder))


def _volts(scenario: Scenario, board: Board, true_pa: np.ndarray, seed: int) -> np.ndarray:
    """Shape (levels, 2): means of the second half of each level, at the nominal reference."""
    line = Staircase(true_pa.tolist())
    front_end = front_end_of(scenario, cast(Bench, line), seed)
    front_end.begin(0.0)
    rows = []
    for place in range(len(true_pa)):
        times_s = place * LEVEL_S + np.linspace(0.5 * LEVEL_S, 0.99 * LEVEL_S, 40)
        seen = front_end.convert([place * LEVEL_S + TURN_S, *times_s])
        counts = [each[1:].astype(float) for each in (seen.supply_count, seen.cylinder_count)]
        reference = seen.reference[1:].astype(float)
        mode = board.reference_mode
        rows.append([to_volts(c, reference, board.bits, mode, NOMINAL_REFERENCE_V).mean() for c in counts])
    return np.array(rows)
