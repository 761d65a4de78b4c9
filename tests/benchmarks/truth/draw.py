"""One random bench: what happens on it, and what its instrument knows of itself."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Any

from daq.records import Board, Instrument, LineFormat, ReferenceMode
from simulator.physics.gas import CHOKED
from simulator.scenario import BenchSection, Scenario
from simulator.units import G_S, KPA, MM, PSI, kelvin
from tests.benchmarks.truth.course import VENT_S, Hold, draw_course
from tests.benchmarks.truth.dice import POPULATIONS, Dice
from tests.benchmarks.truth.ranges import LARGE_FROM_CC, LARGE_SHARE
from tests.benchmarks.truth.sensors import draw_sensor
from tests.benchmarks.truth.workshop import Calibrations, calibrations

U_ATMOSPHERE_PA = 500.0
HIGH_PSI_ABOVE = (35.0, 60.0)


@dataclass(frozen=True)
class Plan:
    """A bench to be run and judged. Times are those of the scenario."""

    population: str
    seed: int
    number: int
    scenario: Scenario
    instrument: Instrument
    board: Board
    calibrations: Calibrations
    holds: tuple[Hold, ...]
    blows_s: tuple[float, ...]
    ends_s: float

    @property
    def simulation_seed(self) -> int:
        return 1_000_000_000 * POPULATIONS[self.population][0] + 1_000_000 * self.seed + self.number


def draw(population: str, seed: int, number: int) -> Plan:
    """Bench `number` of a population; the same arguments give the same bench."""
    dice = Dice(population, seed, number)
    ranges, set_point_psi = dice.ranges, dice.between(dice.ranges.set_point_psi)
    class_psi = 1.5 * float(dice.one_of(*ranges.sensor_class_pct))
    supply, cylinder = (draw_sensor(ranges, dice.rng, class_psi) for _ in range(2))
    volume_cc = dice.log(ranges.volume_cc)
    bench = _bench(dice, volume_cc, set_point_psi - supply.error_psi(set_point_psi) + dice.between(ranges.off_set_psi))
    course = draw_course(dice, bench, volume_cc)
    ends_s = course.vent_s + VENT_S
    reference = {"do": "reference", "at_s": 0.0, "for_s": ends_s, "to_v": dice.between(ranges.reference_v)}
    tables = {
        "title": "random",
        "tail_s": 0.05,
        "engine": {"name": "random", "order": [1], "clearance_cc": volume_cc - bench.hose_cc},
        "cylinder": [course.cylinder],
        "bench": bench,
        "compressor": _compressor(dice, set_point_psi),
        "regulator": _regulator(dice, bench),
        "transducer": {"supply": supply.section(), "cylinder": cylinder.section()},
        "board": _board_section(dice),
        "action": [reference, *course.actions],
    }
    scenario = Scenario.model_validate(tables)
    board, instrument = _board(scenario), _instrument(dice, bench, set_point_psi)
    return Plan(
        population,
        seed,
        number,
        scenario,
        instrument,
        board,
        calibrations(dice, scenario, board, instrument, (supply, cylinder)),
        course.holds,
        course.blows_s,
        ends_s,
    )


def _bench(dice: Dice, volume_cc: float, regulator_psi: float) -> BenchSection:
    ranges = dice.ranges
    large = volume_cc >= LARGE_FROM_CC and dice.chance(LARGE_SHARE)
    return BenchSection(
        set_point_psi=regulator_psi,
        restrictor_mm=dice.between(ranges.large_restrictor_mm if large else ranges.restrictor_mm),
        discharge_coefficient=dice.between(ranges.discharge_coefficient),
        hose_cc=dice.between(ranges.hose_cc),
        atmosphere_kpa=dice.between(ranges.atmosphere_kpa),
        air_c=dice.between(ranges.air_c),
        wall_c=dice.between(ranges.wall_c),
        heat_w_per_k=dice.log(ranges.heat_w_per_k),
    )


def _compressor(dice: Dice, set_point_psi: float) -> dict[str, Any]:
    high_psi = set_point_psi + dice.between(HIGH_PSI_ABOVE)
    return {
        "high_psi": high_psi,
        "low_psi": high_psi - dice.between(dice.ranges.compressor_span_psi),
        "tank_l": dice.between(dice.ranges.tank_l),
        "ripple_psi": dice.between(dice.ranges.ripple_psi),
        "ripple_hz": dice.between(dice.ranges.ripple_hz),
    }


def _regulator(dice: Dice, bench: BenchSection) -> dict[str, Any]:
    ranges = dice.ranges
    area_m2 = bench.discharge_coefficient * 0.25 * pi * (bench.restrictor_mm * MM) ** 2
    supply_pa = bench.set_point_psi * PSI + bench.atmosphere_kpa * KPA
    full_flow_g_s = CHOKED * area_m2 * supply_pa / kelvin(bench.air_c) ** 0.5 / G_S
    return {
        "droop_psi_per_g_s": dice.between(ranges.droop_psi) / full_flow_g_s,
        "hump_psi": dice.between(ranges.hump_psi),
        "hump_g_s": dice.between((0.2, 0.5)) * full_flow_g_s,
        "tank_effect": dice.between(ranges.tank_effect),
        "recovery_s": dice.between(ranges.recovery_s),
        "noise_psi": dice.between(ranges.regulator_noise_psi),
        "noise_time_s": dice.between(ranges.regulator_noise_s),
    }


def _board_section(dice: Dice) -> dict[str, Any]:
    ranges = dice.ranges
    return {
        "bits": dice.one_of(*ranges.bits),
        "reference": dice.one_of("RATIO", "ABS"),
        "full_scale_v": dice.one_of(5.5, 6.144),
        "baud": 1_000_000,
        "rate_hz": round(dice.log(ranges.rate_hz)),
        "clock_ppm": dice.between(ranges.clock_ppm),
        "first_clock_us": dice.whole((0, 0xFFFFFFFF)),
        "calibration": "none",
        "hum_mv": dice.between(ranges.hum_mv),
        "hum_hz": dice.one_of(50.0, 60.0),
    }


def _board(scenario: Scenario) -> Board:
    """What the handshake would have found."""
    board = scenario.board
    return Board(LineFormat.FRAMED, board.bits, ReferenceMode(board.reference), float(board.rate_hz))


def _instrument(dice: Dice, bench: BenchSection, set_point_psi: float) -> Instrument:
    """What is configured: the restrictor by its bore, and a barometer that is a little off."""
    return Instrument(
        restrictor_diameter_m=bench.restrictor_mm * MM,
        discharge_coefficient=0.8,
        critical_ratio=0.5283,
        atmosphere_pa=bench.atmosphere_kpa * KPA + float(dice.rng.normal(0.0, U_ATMOSPHERE_PA)),
        gas_temperature_k=kelvin(bench.air_c),
        set_point_pa=set_point_psi * PSI,
        supply_band_pa=2.0 * PSI,
        u_atmosphere_pa=U_ATMOSPHERE_PA,
    )
