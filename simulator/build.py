"""From a scenario, in the units of the trade, to the physics and the board, in SI."""

from __future__ import annotations

from math import pi, radians

from simulator.board import BoardTraits
from simulator.commands import Calibration, Identity
from simulator.engine import CylinderSection
from simulator.line import LineTraits
from simulator.physics.bench import Bench, BenchTraits, Cylinder
from simulator.physics.crank import Crank, CrankGeometry, CrankTraits
from simulator.physics.front_end import ConverterTraits, FrontEnd
from simulator.physics.leaks import LeakPath, Leaks
from simulator.physics.noise import Wander, normals
from simulator.physics.supply import Compressor, CompressorLimits, Regulator, RegulatorTraits
from simulator.physics.transducer import Transducer, TransducerTraits
from simulator.scenario import Scenario, TransducerSection
from simulator.units import CC, G_S, KPA, LITRE, MM, MM2, MS, PSI, kelvin

_REGULATOR_NOISE, _SUPPLY_NOISE, _CYLINDER_NOISE = 1, 2, 3


def bench_of(scenario: Scenario, seed: int) -> Bench:
    """The bench with nothing connected, air shut."""
    compressor = _compressor(scenario)
    return Bench(
        bench_traits(scenario),
        _cylinders(scenario),
        crank_of(scenario),
        compressor,
        _regulator(scenario, seed),
    )


def bench_traits(scenario: Scenario) -> BenchTraits:
    bench = scenario.bench
    return BenchTraits(
        restrictor_area_m2=bench.discharge_coefficient * 0.25 * pi * (bench.restrictor_mm * MM) ** 2,
        vent_area_m2=bench.vent_area_mm2 * MM2,
        hose_m3=bench.hose_cc * CC,
        atmosphere_pa=bench.atmosphere_kpa * KPA,
        supply_k=kelvin(bench.air_c),
        wall_k=kelvin(bench.wall_c),
        heat_w_per_k=bench.heat_w_per_k,
    )


def leaks_of(scenario: Scenario) -> dict[int, Leaks]:
    """Number and leaks of each cylinder as it is found, with all that is wrong with the engine."""
    leaks = {cylinder.number: _own_leaks(cylinder) for cylinder in scenario.cylinder}
    for condition in scenario.condition:
        for number in leaks:
            if condition.on(number):
                condition.worsen(leaks[number])
    return leaks


def crank_of(scenario: Scenario) -> Crank:
    """The crank at top dead centre."""
    engine = scenario.engine
    return Crank(
        CrankGeometry(engine.bore_mm * MM, engine.stroke_mm * MM, engine.rod_mm * MM, engine.clearance_cc * CC),
        CrankTraits(
            engine.friction_n_m,
            engine.inertia_kg_m2,
            radians(engine.exhaust_opens_deg),
            engine.exhaust_area_mm2 * MM2,
        ),
    )


def front_end_of(scenario: Scenario, bench: Bench, seed: int) -> FrontEnd:
    board, both = scenario.board, scenario.transducer
    converter = ConverterTraits(
        board.bits, board.reference == "ABS", board.full_scale_v, board.hum_mv * 1e-3, board.hum_hz
    )
    return FrontEnd(
        bench,
        Transducer(_transducer(both.supply), normals(seed, _SUPPLY_NOISE)),
        Transducer(_transducer(both.cylinder), normals(seed, _CYLINDER_NOISE)),
        converter,
    )


def board_traits(scenario: Scenario) -> BoardTraits:
    board = scenario.board
    identity = Identity(
        board.maker,
        board.model,
        board.serial,
        board.firmware,
        board.bits,
        board.reference == "ABS",
        board.baud,
        board.rate_hz,
    )
    return BoardTraits(
        identity, board.clock_ppm, board.first_clock_us, board.boot_count, board.bare, _calibration(scenario)
    )


def line_traits(scenario: Scenario) -> LineTraits:
    return LineTraits(scenario.line.drop_probability, scenario.line.flip_probability)


def _cylinders(scenario: Scenario) -> dict[int, Cylinder]:
    leaks = leaks_of(scenario)
    return {one.number: Cylinder(leaks[one.number], radians(one.off_tdc_deg)) for one in scenario.cylinder}


def _own_leaks(cylinder: CylinderSection) -> Leaks:
    areas = {LeakPath(path): area * MM2 for path, area in cylinder.leaks_mm2.items()}
    return Leaks(areas, {LeakPath(path): area * MM2 for path, area in cylinder.debris_mm2.items()})


def _compressor(scenario: Scenario) -> Compressor:
    compressor = scenario.compressor
    limits = CompressorLimits(
        compressor.low_psi * PSI,
        compressor.high_psi * PSI,
        compressor.tank_l * LITRE,
        compressor.delivery_g_s * G_S,
        compressor.other_use_g_s * G_S,
        compressor.ripple_psi * PSI,
        compressor.ripple_hz,
    )
    return Compressor(limits, kelvin(scenario.bench.air_c))


def _regulator(scenario: Scenario, seed: int) -> Regulator:
    regulator, compressor = scenario.regulator, scenario.compressor
    traits = RegulatorTraits(
        regulator.droop_psi_per_g_s * PSI / G_S,
        regulator.hump_psi * PSI,
        regulator.hump_g_s * G_S,
        regulator.tank_effect,
        regulator.recovery_s,
    )
    wander = Wander(regulator.noise_psi * PSI, regulator.noise_time_s, normals(seed, _REGULATOR_NOISE))
    tank_middle_pa = 0.5 * (compressor.low_psi + compressor.high_psi) * PSI
    return Regulator(scenario.first_set_point_psi * PSI, traits, tank_middle_pa, wander)


def _transducer(transducer: TransducerSection) -> TransducerTraits:
    zero_v, volts_per_pa = _real_line(transducer)
    return TransducerTraits(
        zero_v,
        volts_per_pa,
        transducer.hysteresis_psi * PSI,
        transducer.drift_psi_per_min * PSI / 60.0,
        transducer.noise_psi * PSI,
        transducer.response_ms * MS,
        transducer.bow_psi * PSI,
        transducer.full_scale_psi * PSI,
    )


def _nominal_line(transducer: TransducerSection) -> tuple[float, float]:
    """Zero (V) and slope (V per Pa) of the data sheet."""
    return transducer.zero_v, transducer.span_v / (transducer.full_scale_psi * PSI)


def _real_line(transducer: TransducerSection) -> tuple[float, float]:
    """Zero (V) and slope (V per Pa) of this piece."""
    zero_v, nominal = _nominal_line(transducer)
    return (
        zero_v + transducer.zero_error_psi * PSI * nominal,
        nominal * (1.0 + 0.01 * transducer.span_error_pct),
    )


def _calibration(scenario: Scenario) -> Calibration:
    if scenario.board.calibration == "none":
        return {}
    line = _real_line if scenario.board.calibration == "exact" else _nominal_line
    both = {"SUPPLY": line(scenario.transducer.supply), "CYLINDER": line(scenario.transducer.cylinder)}
    date = scenario.board.calibration_date
    return {name: (round(zero_v * 1e6), round(1.0 / slope), date) for name, (zero_v, slope) in both.items()}
