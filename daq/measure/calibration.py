"""Counts to volts to gauge pressure, and the record that says how."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, replace

import numpy as np

from daq.records import Board, Calibration, ChannelCalibration, Floats, Pressures, ReferenceMode, Ticks
from daq.units import PA_PER_PSI

_ID_DIGITS = 12


def to_volts(count: Floats, reference: Floats, bits: int, mode: ReferenceMode, reference_v: float) -> Floats:
    """Volts as they would be at the nominal sensor reference `reference_v`, shape of `count` (means are welcome).

    A floor converter reads half a count low, hence + 0.5. Ratiometric: full scale is 2**bits counts. Absolute:
    `reference` is the count of the sensor supply; NaN where it is zero, for then the sensors have no supply.
    """
    if mode is ReferenceMode.RATIOMETRIC:
        return (count + 0.5) * (reference_v / 2.0**bits)
    return (count + 0.5) / np.where(reference > 0, reference + 0.5, np.nan) * reference_v


def to_gauge_pa(volts: Floats, channel: ChannelCalibration) -> Floats:
    """The channel's straight line: gauge pressure, Pa."""
    return (volts - channel.zero_v) * channel.pa_per_v


def pressures(ticks: Ticks, board: Board, calibration: Calibration) -> Pressures:
    """Gauge pressures of both channels, one row a tick."""

    def gauge_pa(count: Floats, channel: ChannelCalibration) -> Floats:
        volts = to_volts(count, ticks.reference, board.bits, board.reference_mode, calibration.reference_v)
        return to_gauge_pa(volts, channel)

    return Pressures(
        segment=ticks.segment,
        t_s=ticks.t_s,
        supply_gauge_pa=gauge_pa(ticks.supply_count, calibration.supply),
        cylinder_gauge_pa=gauge_pa(ticks.cylinder_count, calibration.cylinder),
        cylinder_low_gauge_pa=gauge_pa(ticks.cylinder_low_count, calibration.cylinder),
        flags=ticks.flags,
    )


def resolution_pa(board: Board, calibration: Calibration) -> float:
    """Pressure of one count, Pa; the coarser of the two channels."""
    steepest = max(abs(calibration.supply.pa_per_v), abs(calibration.cylinder.pa_per_v))
    return steepest * calibration.reference_v / 2.0**board.bits


def assumed_calibration(
    full_scale_pa: float = 150 * PA_PER_PSI, accuracy_of_full_scale: float = 0.005, reference_v: float = 5.0
) -> Calibration:
    """What is assumed before anything is calibrated: ratiometric sensors, 10 % to 90 % of the reference over the range.

    Class 0.5 % of full scale is common practice for such sensors (no source); the limits are taken as rectangular.
    """
    channel = ChannelCalibration(
        zero_v=0.1 * reference_v,
        pa_per_v=full_scale_pa / (0.8 * reference_v),
        full_scale_pa=full_scale_pa,
        accuracy_pa=accuracy_of_full_scale * full_scale_pa,
    )
    return identified(Calibration("", "assumed", "", reference_v, channel, channel))


def identified(calibration: Calibration) -> Calibration:
    """The same record with its id: a short hash of all the rest, so that equal content has an equal id."""
    content = asdict(replace(calibration, calibration_id=""))
    digest = hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
    return replace(calibration, calibration_id=digest[:_ID_DIGITS])
