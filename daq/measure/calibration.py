"""Counts to volts to gauge pressure, and the record that says how."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, replace

import numpy as np

from daq.measure import orifice
from daq.records import (
    Board,
    Calibration,
    ChannelCalibration,
    Floats,
    Instrument,
    Pairing,
    Pressures,
    ReferenceMode,
    Ticks,
)
from daq.units import PA_PER_PSI

_ID_DIGITS = 12
_OF_THE_RESTRICTOR = ("discharge_coefficient", "critical_ratio")


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


def paired(cylinder_gauge_pa: Floats, pairing: Pairing | None) -> Floats:
    """The cylinder pressure as the supply channel would read it: `pairing` taken off, at the cylinder's own pressure.

    The pairing says indicated = p + offset + gain p for p on the scale of the supply channel, so p is solved for. To
    take off offset + gain times the supply pressure would be wrong by gain (p1 - p2), half a point at half the loss.
    """
    return cylinder_gauge_pa if pairing is None else (cylinder_gauge_pa - pairing.offset_pa) / (1 + pairing.gain)


def pressures(ticks: Ticks, board: Board, calibration: Calibration) -> Pressures:
    """Gauge pressures of both channels, one row a tick; the cylinder's paired with the supply's, if they are."""

    def gauge_pa(count: Floats, channel: ChannelCalibration) -> Floats:
        volts = to_volts(count, ticks.reference, board.bits, board.reference_mode, calibration.reference_v)
        return to_gauge_pa(volts, channel)

    return Pressures(
        segment=ticks.segment,
        t_s=ticks.t_s,
        supply_gauge_pa=gauge_pa(ticks.supply_count, calibration.supply),
        cylinder_gauge_pa=paired(gauge_pa(ticks.cylinder_count, calibration.cylinder), calibration.pairing),
        cylinder_low_gauge_pa=paired(gauge_pa(ticks.cylinder_low_count, calibration.cylinder), calibration.pairing),
        flags=ticks.flags,
    )


def resolution_pa(board: Board, calibration: Calibration, reference: float = 0.0) -> float:
    """Pressure of one count, Pa; the coarser of the two channels. `reference` is the field of the samples: on an
    absolute board it is the sensor supply in counts, and so the scale."""
    absolute = board.reference_mode is ReferenceMode.ABSOLUTE and reference > 0
    full_scale_counts = reference + 0.5 if absolute else 2.0**board.bits
    steepest = max(abs(calibration.supply.pa_per_v), abs(calibration.cylinder.pa_per_v))
    return steepest * calibration.reference_v / full_scale_counts


def calibrated_instrument(instrument: Instrument, calibration: Calibration) -> Instrument:
    """The instrument with what the restrictor was found to be, if it was calibrated; it is then no longer assumed.

    Conductance C becomes a discharge coefficient of the stated bore, by equal choked flow, and b the critical ratio:
    one flow curve serves everywhere, calibrated or not. Between b and 1 it differs from the ellipse that C and b were
    fitted with by 0.3 % of the choked flow at most; the uncertainty of converted quantities counts that.
    """
    found = calibration.restrictor
    if found is None:
        return instrument
    bore_m2 = orifice.circle_area(instrument.restrictor_diameter_m)
    return replace(
        instrument,
        discharge_coefficient=orifice.effective_area(found.conductance_m3_s_pa) / bore_m2,
        critical_ratio=found.critical_ratio,
        assumed=tuple(name for name in instrument.assumed if name not in _OF_THE_RESTRICTOR),
    )


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
