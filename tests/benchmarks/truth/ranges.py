"""From what the random benches are drawn. Pressures in psi, as scenarios are written.

`TUNING` is for whoever changes a default of the instrument: benches as a good shop has them. `JUDGING` is wider in
every direction, with other seeds (see `dice.POPULATIONS`), and is what `make truth` prints. No default may be chosen by
looking at its results. The figures are invented, around what common practice calls usual (no source).
"""

from __future__ import annotations

from dataclasses import dataclass

Range = tuple[float, float]
LARGE_FROM_CC, LARGE_SHARE = 90.0, 0.3


@dataclass(frozen=True)
class Ranges:
    """Uniform between both ends, or uniform in the logarithm where it says so."""

    # the tester and its air
    set_point_psi: Range
    off_set_psi: Range
    """How far off its set point somebody left the regulator, as the instrument shows it."""
    restrictor_mm: Range
    large_restrictor_mm: Range
    """On some benches with `LARGE_FROM_CC` or more. Ref: AC 43.13-1B, 8-14: a larger one for bores of 5 in and more."""
    discharge_coefficient: Range
    hose_cc: Range
    atmosphere_kpa: Range
    air_c: Range
    wall_c: Range
    heat_w_per_k: Range  # logarithmic; little heat means a slow thermal creep
    droop_psi: Range
    """What the regulator loses when an open end takes all that the restrictor passes."""
    hump_psi: Range
    tank_effect: Range
    recovery_s: Range
    regulator_noise_psi: Range
    regulator_noise_s: Range
    ripple_psi: Range
    ripple_hz: Range
    compressor_span_psi: Range
    """Between starting and stopping; a narrow one starts and stops often."""
    tank_l: Range
    # the engine
    volume_cc: Range  # logarithmic, hose included
    loss_pct: Range  # logarithmic, after taps
    # the sensors and the board
    sensor_class_pct: tuple[float, ...]  # of full scale, one of these
    hysteresis_share: Range  # full width, of the class
    bow_share: Range  # middle of the range above the line through its ends, of the class
    drift_share: Range  # over a run, of the class
    sensor_noise_psi: Range  # logarithmic
    response_ms: Range
    hum_mv: Range
    bits: tuple[int, ...]
    rate_hz: Range  # logarithmic
    clock_ppm: Range
    reference_v: Range
    # the workshop
    plateaus: tuple[int, int]
    pairing_age_days: Range  # logarithmic
    lines_age_days: Range
    gauge_share: Range
    """Standard uncertainty of the reference gauge, of the class of the sensors."""
    # what the mechanic does
    ramp_s: Range
    patience: Range
    """Of a hold: 1 is 3.5 s and 3 s for each 100 cc."""
    blows: tuple[int, int]
    every_s: Range
    open_ms: Range  # logarithmic
    tap_area_mm2: Range  # logarithmic
    change_pct: Range  # logarithmic


TUNING = Ranges(
    set_point_psi=(80.0, 100.0),
    off_set_psi=(-0.3, 0.3),
    restrictor_mm=(1.016, 1.016),
    large_restrictor_mm=(1.524, 1.524),
    discharge_coefficient=(0.75, 0.85),
    hose_cc=(15.0, 25.0),
    atmosphere_kpa=(95.0, 102.0),
    air_c=(10.0, 30.0),
    wall_c=(15.0, 80.0),
    heat_w_per_k=(0.5, 2.0),
    droop_psi=(0.3, 0.9),
    hump_psi=(0.0, 0.2),
    tank_effect=(0.005, 0.015),
    recovery_s=(0.1, 0.25),
    regulator_noise_psi=(0.0, 0.04),
    regulator_noise_s=(0.1, 0.3),
    ripple_psi=(0.0, 0.6),
    ripple_hz=(9.0, 18.0),
    compressor_span_psi=(5.0, 25.0),
    tank_l=(24.0, 60.0),
    volume_cc=(45.0, 150.0),
    loss_pct=(2.0, 35.0),
    sensor_class_pct=(0.5,),
    hysteresis_share=(0.0, 0.15),
    bow_share=(-0.4, 0.4),
    drift_share=(0.0, 0.02),
    sensor_noise_psi=(0.02, 0.1),
    response_ms=(1.0, 2.0),
    hum_mv=(0.0, 1.0),
    bits=(10, 12, 14, 16),
    rate_hz=(100.0, 500.0),
    clock_ppm=(-1000.0, 1000.0),
    reference_v=(4.95, 5.05),
    plateaus=(4, 6),
    pairing_age_days=(0.02, 7.0),
    lines_age_days=(1.0, 365.0),
    gauge_share=(0.05, 0.12),
    ramp_s=(0.2, 0.8),
    patience=(0.9, 1.3),
    blows=(1, 3),
    every_s=(1.0, 1.8),
    open_ms=(5.0, 30.0),
    tap_area_mm2=(3.0, 20.0),
    change_pct=(0.3, 4.0),
)

JUDGING = Ranges(
    set_point_psi=(60.0, 120.0),
    off_set_psi=(-0.5, 0.5),
    restrictor_mm=(0.9, 1.25),
    large_restrictor_mm=(1.35, 1.6),
    discharge_coefficient=(0.7, 0.9),
    hose_cc=(8.0, 29.0),
    atmosphere_kpa=(80.0, 104.0),
    air_c=(-10.0, 40.0),
    wall_c=(0.0, 100.0),
    heat_w_per_k=(0.2, 5.0),
    droop_psi=(0.1, 1.2),
    hump_psi=(0.0, 0.4),
    tank_effect=(0.001, 0.03),
    recovery_s=(0.05, 0.4),
    regulator_noise_psi=(0.0, 0.06),
    regulator_noise_s=(0.05, 0.5),
    ripple_psi=(0.0, 1.5),
    ripple_hz=(6.0, 25.0),
    compressor_span_psi=(3.0, 30.0),
    tank_l=(15.0, 100.0),
    volume_cc=(30.0, 200.0),
    loss_pct=(0.5, 60.0),
    sensor_class_pct=(0.25, 0.5, 1.0),
    hysteresis_share=(0.0, 0.2),
    bow_share=(-0.5, 0.5),
    drift_share=(0.0, 0.05),
    sensor_noise_psi=(0.01, 0.15),
    response_ms=(0.5, 5.0),
    hum_mv=(0.0, 2.0),
    bits=(10, 11, 12, 13, 14, 15, 16),
    rate_hz=(50.0, 1000.0),
    clock_ppm=(-5000.0, 5000.0),
    reference_v=(4.85, 5.15),
    plateaus=(3, 7),
    pairing_age_days=(0.01, 30.0),
    lines_age_days=(1.0, 730.0),
    gauge_share=(0.03, 0.2),
    ramp_s=(0.05, 1.2),
    patience=(0.8, 1.4),
    blows=(1, 4),
    every_s=(0.7, 2.2),
    open_ms=(4.0, 50.0),
    tap_area_mm2=(2.0, 30.0),
    change_pct=(0.1, 6.0),
)
