"""Pairing at zero flow: with the outlet blocked both channels feel one pressure, so what they differ by is error.

The difference cylinder - supply is a straight line of the pressure, and comes off every reading from then on. What a
line cannot take off (hysteresis and bend) stays, and is stated.

Hysteresis is no scatter: plateaus that the pressure fell to lie off those that it rose to, all by about one step. The
line that is wanted is that of rising pressure, for a fill rises; the step is one more unknown, as great as the
hysteresis of both channels lets it be, so a round that only falls says less, and one that turns contradicts nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from daq.calibrate.line import fit, fit_correlated
from daq.calibrate.plateaus import Plateau
from daq.errors import DataError
from daq.measure.budget import budget, interval
from daq.measure.known_errors import BOW_OF_CLASS, HYSTERESIS_OF_CLASS, calibrated
from daq.measure.uncertainty import rectangular
from daq.records import Calibration, ChannelCalibration, Floats, Instrument, Pairing

FEWEST = 3
SPREAD = 0.5
"""The plateaus must reach over this part of the range from vented to the set point."""
PLAUSIBLE = 1.5
"""Channels may differ by this many times what both data sheets allow together; more is a flow."""
DOUBT_OF_LEFT = 0.25
"""How well what a line leaves is known. It counts as if it came from 8 further plateaus. Ref: JCGM 100, G.4.2."""
CONTRADICTS = 4.0
LEAST_PA = 1.0
"""Nothing here is better known than that."""
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

    The plateaus are in the order in which they were reached, beginning from a vented line. What stays beside the
    line of later readings is the bend, `residual_pa`; counts, noise and the place in the loop of hysteresis are in the
    line itself, and a reading has its own.

    DataError, and no pairing, for too few plateaus, too small a range, or plateaus that contradict each other.
    """
    if not enough(plateaus, set_point_pa):
        raise _too_few(plateaus, set_point_pa)
    supply_pa, difference_pa = np.array([(p.supply_pa, p.difference_pa) for p in plateaus]).T
    bend_pa, prior_dof = _bend_pa(calibration, supply_pa), 1 / (2 * DOUBT_OF_LEFT**2)
    step_pa = _step_pa(calibration) * np.array(_fallen(plateaus))
    covariance_pa2 = _alone_pa2(plateaus, calibration, resolution_pa) + np.outer(bend_pa, bend_pa)
    covariance_pa2 += np.outer(step_pa, step_pa)
    found, deleted_pa, spread_pa = fit_correlated(supply_pa, difference_pa, covariance_pa2)
    _refuse_contradiction(supply_pa, deleted_pa, spread_pa, _limit_pa(calibration.supply, calibration.cylinder))
    _refuse_step(float(step_pa @ (deleted_pa / spread_pa**2)), step_pa)
    dof = prior_dof + found.degrees_of_freedom
    factor = math.sqrt((prior_dof + found.degrees_of_freedom * found.residual_sd**2) / dof)
    offset_pa, gain = (float(c) for c in found.coefficients)
    pairing = Pairing(
        pairing_id="",
        made_s=made_s,
        offset_pa=offset_pa,
        gain=gain,
        u_offset_pa=factor * found.u(0),
        u_gain=factor * found.u(1),
        correlation=found.correlation,
        residual_pa=factor * float(np.sqrt((bend_pa**2).mean())),
        degrees_of_freedom=dof,
        lowest_pa=float(supply_pa.min()),
        highest_pa=float(supply_pa.max()),
        drift_pa_per_day=_daily_pa(offset_pa, gain, made_s, calibration, set_point_pa, previous),
    )
    return PairingResult(pairing, tuple(plateaus), tuple(found.residuals.tolist()))


def _alone_pa2(plateaus: Sequence[Plateau], calibration: Calibration, resolution_pa: float) -> Floats:
    """Variance, shape (n, n), of what lies off the line at each plateau by itself: counts, noise and the place in the
    loop of hysteresis."""
    least_pa2 = LEAST_PA**2 + _wander_pa(calibration) ** 2 + resolution_pa**2 / 6
    return np.diag([least_pa2 + plateau.u_difference_pa**2 for plateau in plateaus])


def _fallen(plateaus: Sequence[Plateau]) -> list[bool]:
    """Whether each was reached from above; the first was reached from a vented line."""
    return [False, *(after.supply_pa < before.supply_pa for before, after in pairwise(plateaus))]


def _bend_pa(calibration: Calibration, supply_pa: Floats) -> Floats:
    """What a bow of the difference leaves at each plateau about the line through all, for one standard uncertainty."""
    both = (calibration.supply, calibration.cylinder)
    curvature = math.hypot(*(_curvature(channel, float(supply_pa.max())) for channel in both))
    return curvature * fit(supply_pa, supply_pa**2, u=1.0).residuals


def _curvature(channel: ChannelCalibration, highest_pa: float) -> float:
    """Standard uncertainty of the factor before the square of the pressure, 1/Pa. A bow is a parabola, the usual shape.

    Before calibration its height is anywhere up to the limit. A calibration found its greatest residual, two thirds of
    the height above the range of the calibration, and that reached from vented to the highest plateau at least.
    """
    if not calibrated(channel):
        return 4 * rectangular(BOW_OF_CLASS * channel.accuracy_pa) / channel.full_scale_pa**2
    return 4 * 1.5 * channel.nonlinearity_pa / highest_pa**2


def _step_pa(calibration: Calibration) -> float:
    """Standard deviation of how far falling pressure parts the channels: of the difference of their two widths, each
    of them anywhere up to the limit, or up to what was found (the greatest of several levels)."""
    both = (calibration.supply, calibration.cylinder)
    return math.hypot(*(rectangular(0.5 * _limit_pa(channel)) for channel in both))


def _wander_pa(calibration: Calibration) -> float:
    """Of hysteresis where the pressure rose: a regulator that wavers takes both channels together from the rising
    branch to the middle of their loops at most, for they are on one line of air."""
    return rectangular(0.5) * _step_pa(calibration)


def _limit_pa(*channels: ChannelCalibration) -> float:
    """Greatest width between up and down, of the wider one."""
    return max(each.hysteresis_pa if calibrated(each) else HYSTERESIS_OF_CLASS * each.accuracy_pa for each in channels)


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
    return interval(lines).half_width_pct


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


def _refuse_contradiction(supply_pa: Floats, deleted_pa: Floats, spread_pa: Floats, loop_pa: float) -> None:
    """`deleted_pa` off the line of the others, where `spread_pa` is usual by what is stated of both transducers; and
    `loop_pa` more where a hand turned too far and back, and nobody saw it."""
    beyond_pa = np.abs(deleted_pa) - CONTRADICTS * spread_pa
    worst = int(beyond_pa.argmax())
    if beyond_pa[worst] > loop_pa:
        raise DataError(
            f"The plateau at {supply_pa[worst]:.0f} Pa contradicts the others: the difference is no straight line.",
            "Did the outlet open or leak meanwhile? Block it, and pair again. The calibration in force stays.",
            f"{abs(deleted_pa[worst]):.0f} Pa off the line of the others, where {spread_pa[worst]:.0f} Pa is usual",
        )


def _refuse_step(found: float, step_pa: Floats) -> None:
    """`found`: how far plateaus that were fallen to lie off the rest, in units of `step_pa`, what is usual."""
    if abs(found) > CONTRADICTS:
        usual_pa = float(step_pa.max())
        raise DataError(
            "Falling and rising pressures contradict each other: that is more than hysteresis.",
            "Did the outlet open or leak meanwhile? Block it, and pair again. The calibration in force stays.",
            f"{abs(found) * usual_pa:.0f} Pa between up and down, where {usual_pa:.0f} Pa is usual",
        )


def _supply(plateau: Plateau) -> float:
    return plateau.supply_pa
