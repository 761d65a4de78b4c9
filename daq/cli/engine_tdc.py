"""`boretight engine tdc`: from one top dead centre to the next, and how far off it the crank still holds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from daq import engine_files
from daq.cli.engine_profiles import UNKNOWN, configuration
from daq.cli.output import print_json, print_table
from daq.measure.leakage import area_ratio, restrictor
from daq.procedure.crank_geometry import NM_PER_LBF_FT, RESISTANCE_CAUTION, CrankGeometry, assumed_resistance_nm
from daq.procedure.crank_turns import also_at_top, crank_steps
from daq.procedure.engine import HANGING_RODS, EngineProfile, Layout
from daq.procedure.tdc_sweep import ASSUMED_CLEARANCE, leak_time_s, trapped_bias_rad
from daq.records import Instrument
from daq.units import PA_PER_PSI, PressureUnit

SOFT_PA = 20 * PA_PER_PSI
"""The first step of pressure, at which a crank that does not hold is met gently. Ref: AC 43.13-1B, 8-14, step e."""
SHOWN_DEG = (2, 5, 10)
VALVE_TRAIN = (
    "If you went too far, go back half a turn at least and come again, because of the play of the valve train."
)
PEAK_LOSS, PEAK_DEG_S = 0.10, 60.0
NO_PEAK = (
    "The highest pressure while turning is not the top: on a cylinder that leaks 10 %, turned at 60 degrees a second, "
    "it comes {:.0f} degrees too early. Use a stop or a dial gauge, or `boretight engine sweep {}`."
)


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Up to which angle the crank holds at a pressure, and the torque at some angles. Degrees, N m."""

    gauge_pa: float
    tolerable_deg: float
    torque_nm: dict[int, float]


def show_tdc(key: str, resistance_lbf_ft: float | None, config_path: Path | None, json: bool) -> None:
    config = configuration(config_path)
    profile = engine_files.load_engine(config.storage.engines, key)
    guess_lbf_ft = assumed_resistance_nm(profile.cylinders) / NM_PER_LBF_FT
    assumed, resistance = resistance_lbf_ft is None, (resistance_lbf_ft or guess_lbf_ft) * NM_PER_LBF_FT
    set_point = profile.set_point_pa or config.measuring_instrument().set_point_pa
    rows = tolerances(profile.geometry, (SOFT_PA, set_point / 2, set_point), resistance)
    if json:
        print_json(_plain(profile, rows, resistance, assumed))
        return
    print_turns(profile)
    print_tolerances(rows, resistance, assumed, config.display.pressure)
    if profile.geometry is not None:
        print(NO_PEAK.format(peak_early_deg(profile.geometry, config.measuring_instrument()), key))


def tolerances(geometry: CrankGeometry | None, pressures_pa: tuple[float, ...], nm: float) -> list[Tolerance]:
    """One for each pressure; none where the geometry is not known."""
    if geometry is None:
        return []
    return [
        Tolerance(
            gauge_pa,
            math.degrees(geometry.tolerable_rad(gauge_pa, nm)),
            {degrees: float(geometry.torque_nm(gauge_pa, math.radians(degrees))) for degrees in SHOWN_DEG},
        )
        for gauge_pa in pressures_pa
    ]


def peak_early_deg(geometry: CrankGeometry, instrument: Instrument) -> float:
    """How much too early the highest pressure of trapped air comes, on a cylinder that leaks as NO_PEAK says."""
    supply, atmosphere = instrument.set_point_pa + instrument.atmosphere_pa, instrument.atmosphere_pa
    bore = restrictor(instrument)
    ratio = area_ratio(supply, supply - PEAK_LOSS * instrument.set_point_pa, atmosphere, bore.critical_ratio)
    volume = geometry.clearance_m3 or ASSUMED_CLEARANCE * geometry.swept_m3
    fades_s = leak_time_s(volume, float(ratio) * bore.effective_area_m2, instrument.gas_temperature_k)
    return math.degrees(trapped_bias_rad(geometry, volume, math.radians(PEAK_DEG_S), fades_s))


def _plain(profile: EngineProfile, rows: list[Tolerance], resistance_nm: float, assumed: bool) -> dict[str, object]:
    return {
        "engine": profile.name,
        "steps": [
            {
                "cylinder": step.cylinder,
                "at_deg": step.at_deg,
                "turn_deg": step.turn_deg,
                "following": step.following,
                "also_at_top": also_at_top(profile, step.cylinder),
            }
            for step in crank_steps(profile)
        ],
        "resistance_nm": resistance_nm,
        "resistance_assumed": assumed,
        "tolerances": [
            {"gauge_pa": row.gauge_pa, "tolerable_deg": row.tolerable_deg, "torque_nm": row.torque_nm} for row in rows
        ],
        "caution": RESISTANCE_CAUTION,
    }


def print_turns(profile: EngineProfile) -> None:
    rows = [
        [
            str(step.cylinder),
            f"{step.at_deg:g}",
            f"{step.turn_deg:g} on to cylinder {step.following}",
            ", ".join(map(str, also_at_top(profile, step.cylinder))) or "-",
        ]
        for step in crank_steps(profile)
    ]
    columns = ["cylinder", "degrees from the first", "then turn", "also at the top, valves open"]
    print_table(f"{profile.name}: degrees of crank, in firing order", columns, rows)
    turning = f"{profile.rotation}, seen from the {profile.seen_from}" if profile.rotation else UNKNOWN
    print(f"Direction in which it runs: {turning}. Turn that way only.")
    if profile.valves:
        print(VALVE_TRAIN)
    if profile.layout is Layout.RADIAL:
        print(HANGING_RODS)


def print_tolerances(rows: list[Tolerance], resistance_nm: float, assumed: bool, unit: PressureUnit) -> None:
    held = f"{resistance_nm / NM_PER_LBF_FT:.1f} lbf ft ({resistance_nm:.1f} N m){', assumed' if assumed else ''}"
    if not rows:
        print("How far off is tolerable needs bore, stroke and rod: `boretight engine edit` adds them.")
    else:
        columns = ["pressure", "tolerable", *(f"torque at {degrees} deg" for degrees in SHOWN_DEG)]
        texts = [
            [unit.show(row.gauge_pa), _angle(row.tolerable_deg), *map(_torque, row.torque_nm.values())] for row in rows
        ]
        print_table(f"How far off top dead centre the crank holds by {held}", columns, texts)
    print(f"CAUTION: {RESISTANCE_CAUTION}")


def _angle(degrees: float) -> str:
    return "any" if degrees >= 180 else f"{degrees:.1f} deg"


def _torque(nm: float) -> str:
    return f"{nm / NM_PER_LBF_FT:.1f} lbf ft, {nm:.0f} N m"
