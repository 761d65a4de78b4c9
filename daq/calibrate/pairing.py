"""Pairing at zero flow: with the outlet blocked both channels feel one pressure, so what they differ by is error.

The difference cylinder - supply is a straight line of the pressure, and comes off every reading from then on. What a
line cannot take off (hysteresis, bend, steps of the converter) stays, and is stated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.calibrate.line import Fit, fit, leverage
from daq.calibrate.plateaus import Plateau
from daq.errors import DataError
from daq.measure.budget import budget
from daq.measure.uncertainty import coverage_factor, effective_degrees, rectangular
from daq.records import Calibration, ChannelCalibration, Floats, Instrument, Pairing

FEWEST = 3
SPREAD = 0.5
"""The plateaus must reach over this part of the range from vented to the set point."""
PLAUSIBLE = 1.5
"""Channels may differ by this many times what both data sheets allow together; more is a flow."""
LEFT_OF_CLASS = 0.08
"""Part of the accuracy of the data sheet that a line cannot take off, as a standard deviation, before hysteresis and
bend are calibrated: common practice, no source."""
DOUBT_OF_LEFT = 0.25
"""How well that part is known. It counts as if it came from 8 further plateaus. Ref: JCGM 100, G.4.2."""
CONTRADICTS = 4.0
DRIFT_OF_FULL_SCALE_PER_DAY = 1e-4
"""What a day may do to the difference before two pairings tell it: common practice, no source."""
DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class PairingResult:
    """The pairing (still without its id), and how far each plateau is off its line, Pa."""

    pairing: Pairing
    plateaus: tuple[Plateau, ...]
    residual_pa: tuple[float, ...]


def flow_suspected(plateau: Plateau, calibration: Calibration) -> str:
    """Why this plateau cannot be one without flow, in words; empty if it can be one."""
    allowed_pa = PLAUSIBLE * (calibration.supply.accuracy_pa + calibration.cylinder.accuracy_pa)
    if abs(plateau.difference_pa) <= allowed_pa:
        return ""
    if plateau.difference_pa < 0:
        return "the cylinder side is below the supply by more than the sensors can be wrong: air flows"
    return "the cylinder side is above the supply by more than the sensors can be wrong: are they swapped?"


def refuse_flow(doubtful: Sequence[Plateau]) -> None:
    """DataError once the doubt has been the same at two pressures: then it was no valve that was still shut."""
    if len(doubtful) < 2:
        return
    lowest, highest = min(doubtful, key=_supply), max(doubtful, key=_supply)
    grows = abs(highest.difference_pa) > abs(lowest.difference_pa)
    how = "and the difference grows with the pressure, as a flow does" if grows else "at both pressures"
    raise DataError(
        f"The outlet is not blocked, or the hose leaks: the two sides differ too much, {how}.",
        "Block the outlet with a plug, wet every joint with soapy water, then pair again. "
        "The calibration in force stays.",
        ", ".join(f"{p.difference_pa:+.0f} Pa at {p.supply_pa:.0f} Pa" for p in (lowest, highest)),
    )


def refuse_fall(falling_pa_per_s: float) -> None:
    """DataError for a pressure that falls evenly by itself."""
    if falling_pa_per_s > 0:
        raise DataError(
            "The pressure falls by itself: the hose or the plug leaks, or the air supply runs out.",
            "Wet every joint with soapy water, check the compressor, then pair again. The calibration in force stays.",
            f"{falling_pa_per_s:.0f} Pa/s for some seconds",
        )


def enough(plateaus: Sequence[Plateau], set_point_pa: float, fewest: int = FEWEST) -> bool:
    """Whether they can be paired."""
    pressures = [plateau.supply_pa for plateau in plateaus]
    return len(pressures) >= max(fewest, FEWEST) and max(pressures) - min(pressures) >= SPREAD * set_point_pa


def pair(
    plateaus: Sequence[Plateau],
    calibration: Calibration,
    set_point_pa: float,
    made_s: float,
    resolution_pa: float = 0.0,
    previous: Pairing | None = None,
) -> PairingResult:
    """Offset and gain of the difference, with what is known of the rest beforehand counted as `1 / (2 doubt^2)`
    plateaus (the usual conjugate estimate of a variance). `calibration` is that of the two lines, not yet paired.

    DataError, and no pairing, for too few plateaus, too small a range, or plateaus that contradict each other.
    """
    if not enough(plateaus, set_point_pa):
        raise _too_few(plateaus, set_point_pa)
    supply_pa, difference_pa = np.array([(p.supply_pa, p.difference_pa) for p in plateaus]).T
    prior_pa, prior_dof = left_over_pa(calibration, resolution_pa), 1 / (2 * DOUBT_OF_LEFT**2)
    found = fit(supply_pa, difference_pa, u=1.0)
    _refuse_contradiction(plateaus, found, supply_pa, prior_pa)
    dof = prior_dof + found.degrees_of_freedom
    sd_pa = math.sqrt((prior_dof * prior_pa**2 + float((found.residuals**2).sum())) / dof)
    offset_pa, gain = (float(c) for c in found.coefficients)
    pairing = Pairing(
        pairing_id="",
        made_s=made_s,
        offset_pa=offset_pa,
        gain=gain,
        u_offset_pa=sd_pa * found.u(0),
        u_gain=sd_pa * found.u(1),
        correlation=found.correlation,
        residual_pa=sd_pa,
        degrees_of_freedom=dof,
        lowest_pa=float(supply_pa.min()),
        highest_pa=float(supply_pa.max()),
        drift_pa_per_day=_daily_pa(offset_pa, gain, made_s, calibration, set_point_pa, previous),
    )
    return PairingResult(pairing, tuple(plateaus), tuple(found.residuals.tolist()))


def left_over_pa(calibration: Calibration, resolution_pa: float) -> float:
    """Standard deviation about the line that the data sheets, or the calibrations, lead to expect of the difference.

    Hysteresis that was calibrated is not in it: a budget names it by itself.
    """
    of_channels = [_bend_pa(channel) for channel in (calibration.supply, calibration.cylinder)]
    return math.hypot(*of_channels, resolution_pa / math.sqrt(6))


def _bend_pa(channel: ChannelCalibration) -> float:
    if channel.u_zero_pa is None:
        return LEFT_OF_CLASS * channel.accuracy_pa / math.sqrt(2)
    return rectangular(channel.nonlinearity_pa)


def _daily_pa(
    offset_pa: float,
    gain: float,
    made_s: float,
    calibration: Calibration,
    set_point_pa: float,
    previous: Pairing | None,
) -> float:
    """Half-width of what a day may do: as usual, or as much as it was between two pairings at least a day apart."""
    usual_pa = DRIFT_OF_FULL_SCALE_PER_DAY * max(calibration.supply.full_scale_pa, calibration.cylinder.full_scale_pa)
    if previous is None or made_s - previous.made_s < DAY_S:
        return usual_pa
    moved_pa = abs(change_pa(previous, offset_pa, gain, set_point_pa))
    return max(usual_pa, moved_pa / ((made_s - previous.made_s) / DAY_S))


def change_pa(previous: Pairing, offset_pa: float, gain: float, at_pa: float) -> float:
    """How much the difference of the channels at this pressure has changed since the pairing before."""
    return offset_pa - previous.offset_pa + (gain - previous.gain) * at_pa


def expanded_loss_pct(
    calibration: Calibration, instrument: Instrument, loss: float, at_s: float, resolution_pa: float = 0.0
) -> float:
    """Half-width of the 95 % interval that a quiet reading of this loss has at the set point, in points."""
    supply_pa = instrument.set_point_pa
    quiet = (0.0, 0.0, math.inf)
    lines = budget(supply_pa, supply_pa * (1 - loss / 100), quiet, resolution_pa, calibration, instrument, at_s)
    standard = math.hypot(*(line.contribution_pct for line in lines))
    return coverage_factor(effective_degrees(lines)) * standard


# ---- what cannot be


def _too_few(plateaus: Sequence[Plateau], set_point_pa: float) -> DataError:
    pressures = ", ".join(f"{plateau.supply_pa:.0f} Pa" for plateau in plateaus) or "none"
    return DataError(
        f"{len(plateaus)} plateaus are too few to pair: an offset and a gain take {FEWEST} or more, "
        "over at least half of the way to the set point.",
        "Turn the regulator from low to the set point and stop two or three seconds at each of several pressures. "
        "The calibration in force stays.",
        f"plateaus: {pressures}; set point {set_point_pa:.0f} Pa",
    )


def _refuse_contradiction(plateaus: Sequence[Plateau], found: Fit, supply_pa: Floats, prior_pa: float) -> None:
    deleted_pa = np.abs(found.residuals / (1 - leverage(supply_pa)))
    worst = int(deleted_pa.argmax())
    spread_pa = math.hypot(prior_pa, plateaus[worst].u_difference_pa) / math.sqrt(1 - leverage(supply_pa)[worst])
    if deleted_pa[worst] > CONTRADICTS * spread_pa:
        raise DataError(
            f"The plateau at {supply_pa[worst]:.0f} Pa contradicts the others: the difference is no straight line.",
            "Did the outlet open or leak meanwhile? Block it, and pair again. The calibration in force stays.",
            f"{deleted_pa[worst]:.0f} Pa off the line of the others, where {spread_pa:.0f} Pa is usual",
        )


def _supply(plateau: Plateau) -> float:
    return plateau.supply_pa
