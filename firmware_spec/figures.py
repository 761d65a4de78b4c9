"""Writes the figures of board.md that are computed: `python firmware_spec/figures.py`, then review the difference.

Tables stand in the text between `<!-- computed: NAME -->` and `<!-- end -->` and are written there. Figures within a
sentence are listed by `phrases`; a test sees that each stands in the text as it is given here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from daq.measure import leakage, orifice
from daq.measure.budget import budget, interval
from daq.measure.calibration import assumed_calibration, resolution_pa
from daq.records import Board, Calibration, Contribution, Instrument, LineFormat, Pairing, ReferenceMode
from daq.units import M_PER_INCH, PA_PER_ATM, PA_PER_PSI
from daq.wire import SAMPLE_BYTES

TEXT = Path(__file__).with_name("board.md")
BLOCK = re.compile(r"(<!-- computed: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)

SET_PSI, SHOWN_LOSS_PCT = 100.0, 10.0
SENSOR_PSI, SENSOR_SHARE = 150.0, 0.8
RESTRICTOR_IN, LARGE_RESTRICTOR_IN, DISCHARGE = 0.040, 0.060, 0.8
R_OHM, C_F, RATE_HZ, BAUD = 1e3, 2.2e-6, 200, 115_200
UPPER_OHM, LOWER_OHM, DIVIDED_C_F, CONVERTER_V = 10e3, 18e3, 330e-9, 4.096
AIR_VISCOSITY_PA_S = 1.81e-5
"""Dry air at 20 C; value from memory."""
INSTRUMENT = Instrument(
    RESTRICTOR_IN * M_PER_INCH, DISCHARGE, orifice.CRITICAL_RATIO, PA_PER_ATM, 293.15, SET_PSI * PA_PER_PSI, 0.0
)
SUPPLY_PA = SET_PSI * PA_PER_PSI
CYLINDER_PA = SUPPLY_PA * (1 - SHOWN_LOSS_PCT / 100)
PAIRED = replace(
    assumed_calibration(),
    pairing=Pairing("paired", 0.0, 0.0, 0.0, 195.0, 8.7e-4, -0.9, 390.0, 10.0, 1.4e5, 6.9e5, 0.0),
)
"""As a pairing at five pressures with common transducers comes out: offset to 0.028 psi, a line to 0.056 psi."""


# ---- resolution


def count_pa(bits: int, divided: bool) -> float:
    """One count; behind the divider of an absolute board the sensor supply is the scale."""
    if not divided:
        return resolution_pa(Board(LineFormat.FRAMED, bits), assumed_calibration())
    supply_counts = round(5 * LOWER_OHM / (UPPER_OHM + LOWER_OHM) / CONVERTER_V * 2**bits)
    board = Board(LineFormat.FRAMED, bits, ReferenceMode.ABSOLUTE)
    return resolution_pa(board, assumed_calibration(), supply_counts)


def lines(one_pa: float, calibration: Calibration) -> tuple[Contribution, ...]:
    """The budget of a reading at the set point whose means no noise carries across a count."""
    seen_pa = one_pa / math.sqrt(12)
    noise = (seen_pa, seen_pa, math.inf)
    return budget(SUPPLY_PA, CYLINDER_PA, noise, one_pa, calibration, INSTRUMENT, 0.0)


def half_width_pct(lines: Sequence[Contribution]) -> float:
    return interval(lines).half_width_pct


def resolution() -> Iterator[Sequence[str]]:
    yield "bits", "one count", "resolution alone", "paired, with all else", "not paired", "least change seen"
    for name, bits, divided in (("10", 10, False), ("12", 12, False), ("15, divided", 15, True), ("16", 16, False)):
        one_pa = count_pa(bits, divided)
        alone = [line for line in lines(one_pa, PAIRED) if line.component.endswith("resolution")]
        yield (
            name,
            f"{one_pa / PA_PER_PSI:.4f} psi",
            f"± {half_width_pct(alone):.3f}",
            f"± {half_width_pct(lines(one_pa, PAIRED)):.2f}",
            f"± {half_width_pct(lines(one_pa, assumed_calibration())):.2f}",
            f"± {math.sqrt(2) * half_width_pct(alone):.3f}",
        )


def left_by_noise(noise_counts: float) -> float:
    """Greatest error of the mean of a quantity that stands still, in counts. Ref: the first term of the Fourier series
    of the error of a quantiser with normal noise, (1 / pi) exp(-2 pi^2 sigma^2); common knowledge, from memory."""
    return math.exp(-2 * (math.pi * noise_counts) ** 2) / math.pi


def averaging() -> Iterator[Sequence[str]]:
    yield "noise, counts r.m.s.", "mean is off by up to", "points at 10 bits"
    points = 100 * count_pa(10, False) / SUPPLY_PA
    for noise in (0.2, 0.3, 0.4, 0.5):
        yield f"{noise}", f"{left_by_noise(noise):.3f} counts", f"{points * left_by_noise(noise):.4f}"


# ---- electrical side


def points_of_volts(volts: float) -> float:
    """What a voltage in series with one output does to the loss."""
    return 100 * volts / 5.0 / SENSOR_SHARE * SENSOR_PSI / SET_PSI


def corner_hz(r_ohm: float, c_f: float) -> float:
    return 1 / (2 * math.pi * r_ohm * c_f)


def passed(frequency_hz: float) -> float:
    return 1 / math.hypot(1, frequency_hz / corner_hz(R_OHM, C_F))


def filtering() -> Iterator[Sequence[str]]:
    yield "frequency", "what it is", "passed by the filter"
    for frequency_hz, what in (
        (5, "the pressure itself, with room"),
        (50, "mains"),
        (RATE_HZ - 5, f"what {RATE_HZ} samples a second fold to 5 Hz"),
        (2000, "switching regulators and ignition begin about here"),
    ):
        yield f"{frequency_hz} Hz", what, f"{100 * passed(frequency_hz):.0f} %"


# ---- air side


def flow_kg_s(bore_in: float, cylinder_pa: float) -> float:
    area_m2 = DISCHARGE * orifice.circle_area(bore_in * M_PER_INCH)
    return float(orifice.mass_flow(area_m2, SUPPLY_PA + PA_PER_ATM, cylinder_pa + PA_PER_ATM))


def litres_a_min(flow: float) -> float:
    return 6e4 * float(leakage.anr_flow(flow))


def hose_points(bore_m: float, bore_in: float) -> float:
    """Loss that 1 m of smooth hose adds at the shown loss. Ref: Darcy, with Blasius' friction; from memory."""
    density = (CYLINDER_PA + PA_PER_ATM) / (orifice.GAS_CONSTANT * 293.15)
    speed = flow_kg_s(bore_in, CYLINDER_PA) / density / orifice.circle_area(bore_m)
    friction = 0.316 / (density * speed * bore_m / AIR_VISCOSITY_PA_S) ** 0.25
    return float(100 * friction / bore_m * 0.5 * density * speed**2 / SUPPLY_PA)


def hoses() -> Iterator[Sequence[str]]:
    yield "bore of the hose", f"restrictor {RESTRICTOR_IN:.3f} in", f"restrictor {LARGE_RESTRICTOR_IN:.3f} in"
    for bore_mm in (4, 5, 6, 8):
        small, large = (hose_points(bore_mm / 1e3, bore) for bore in (RESTRICTOR_IN, LARGE_RESTRICTOR_IN))
        yield f"{bore_mm} mm", f"{small:.2f}", f"{large:.2f}"


def narrowed_loss_pct(part: float) -> float:
    """What a leak that shows the shown loss shows behind a restrictor with this part of its diameter."""
    supply, cylinder = SUPPLY_PA + PA_PER_ATM, CYLINDER_PA + PA_PER_ATM
    k = float(leakage.area_ratio(supply, cylinder, PA_PER_ATM)) / part**2
    return float(leakage.loss_from_area_ratio(k, SUPPLY_PA, PA_PER_ATM))


def push_n(bore_in: float) -> float:
    return SUPPLY_PA * orifice.circle_area(bore_in * M_PER_INCH)


# ---- into the text

TABLES = {"resolution": resolution, "averaging": averaging, "filtering": filtering, "hoses": hoses}


def phrases() -> Iterator[str]:
    """Words of the text that hold a computed figure."""
    large, small = flow_kg_s(LARGE_RESTRICTOR_IN, 0.0), flow_kg_s(RESTRICTOR_IN, 0.0)
    yield f"push on a 4 in piston with {push_n(4) / 4.4482216:.0f} lbf ({push_n(4) / 1e3:.1f} kN)"
    yield f"{1e3 * small:.1f} g/s ({litres_a_min(small):.0f} L/min of free air)"
    yield f"{1e3 * large:.1f} g/s ({litres_a_min(large):.0f} L/min) with the large restrictor"
    yield f"turns a true {SHOWN_LOSS_PCT:.0f} % into {narrowed_loss_pct(0.95):.1f} %"
    yield f"a corner at {corner_hz(R_OHM, C_F):.0f} Hz"
    yield f"{1e3 * R_OHM * C_F:.1f} ms of delay"
    yield f"{250 * 0.1 * R_OHM * C_F:.2f} psi apart"
    yield f"turns 5 V into {5 * LOWER_OHM / (UPPER_OHM + LOWER_OHM):.2f} V"
    parallel = UPPER_OHM * LOWER_OHM / (UPPER_OHM + LOWER_OHM)
    yield f"{parallel / 1e3:.1f} k together, and 330 nF make {corner_hz(parallel, DIVIDED_C_F):.0f} Hz"
    yield f"1 mV between the grounds of the two sensors is {points_of_volts(1e-3):.3f} points"
    yield f"10 mV less at one of them is {points_of_volts(0.01 * (0.1 + 0.8 * SET_PSI / SENSOR_PSI)):.2f} points"
    wide, narrow = (half_width_pct(lines(count_pa(bits, False), PAIRED)) for bits in (10, 12))
    yield f"10 bits without averaging are {100 * (wide / narrow - 1):.0f} % wider"
    yield f"{100 * SAMPLE_BYTES * 10 * RATE_HZ / BAUD:.0f} % of the line"


def table(rows: Iterator[Sequence[str]]) -> str:
    head, *body = rows
    return "\n".join(["| " + " | ".join(row) + " |" for row in (head, ["---"] * len(head), *body)]) + "\n"


def written(text: str) -> str:
    """The text with its tables as they are computed now."""
    return BLOCK.sub(lambda found: found[1] + table(TABLES[found[2]]()) + found[3], text)


if __name__ == "__main__":
    TEXT.write_text(written(TEXT.read_text(encoding="utf-8")), encoding="utf-8")
    print("\n".join(phrases()))
