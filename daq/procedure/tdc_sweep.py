"""Top dead centre from the pressures alone, while the crank is turned by hand over the top and back.

There is no angle sensor: what the mechanic has is a chalk mark, made at the tone of each pass. The tone sounds where
the pressure has fallen back through the value that it had at rest, shortly after the top: nearer to it, and steadier,
than the peak, which comes 10 to 28 degrees too early on a cylinder that leaks. How much later the tone is turns round
with the direction, so top dead centre lies halfway between the two marks, if both passes were equally quick. Where
they were not, the middle is corrected by both speeds and by the time from the top to the tone, which is that of the
leak and the restrictor and so the same both ways:

    dp/dt / p = n (R T flow / (p V) - dV/dt / V)

At the top dV/dt is zero and V the clearance with the hose, so the moment of the top is where the first two terms are
equal; the slope there gives the speed, by dV/dt = Kc angle speed. The flow is known from both pressures: what comes
through the restrictor, less what the leak passes, whose area follows from the pressures at rest.

Assumed, not checked: the crank rests at first and at the end, on the same side of the top; it is turned over the top by
20 degrees or more, at a steady pace, and then back the same way; the leak does not change meanwhile; the air lies
between isothermal and adiabatic (n = 1.2); and a mark follows its tone as said at `REACTION_S`. A crank that was turned
back short of the top gives the same pressures; it shows in marks that are not as far apart as they should be.
Ref: ideal gas and mass balance; checked against an integration of mass and energy in tests/outside/test_tdc_sweep.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.measure import orifice
from daq.measure.leakage import restrictor
from daq.procedure.crank_geometry import CrankGeometry
from daq.procedure.tone_watch import CLEAR_RISE, NOISES, REST_ROWS, Hump, ToneWatch, at_rest
from daq.records import Floats, Instrument

POLYTROPIC = 1.2
U_MODEL = 0.2
"""Relative, of both lags alike: heat exchange (n from 1 to 1.4), restrictor, volume of the hose."""
U_PACE, U_LAG_RAD = 0.12, math.radians(0.6)
"""Of each lag by itself, relative and at least: a hand does not turn evenly. Found on simulated hands that speed up and
slow down by up to 30 % within a pass; no source."""
REACTION_S, U_REACTION_S, U_TONE_S = 0.25, 0.10, 0.05
"""From tone to mark; how well that is known; how much it scatters from one to the next. Judgements, no source."""
U_MARK_RAD = math.radians(0.5)
ASSUMED_CLEARANCE = 1 / 9
"""Of the swept volume, where the clearance is not known: compression ratio 10."""
FEWEST_ROWS = 5
SLOWEST_OVER_QUICKEST = 0.5
LARGEST_LAG_RAD = math.radians(15)
COVERAGE = 2.0

STOP_OR_DIAL = "Not usable on this cylinder: use a stop or a dial gauge."
NO_REST = (
    "The pressure at rest was not the same before and after: hold still for three seconds, the regulator untouched."
)
MISSING = "Readings are missing: the line was lost in the middle."
NO_AIR = "There is hardly any pressure at rest: the air is off, a valve is open, or the leak is too large."
NOT_TWO = "Two humps of pressure were wanted, one each way over the top; there were {}."
TOO_FAST = "It was turned too fast for twenty readings a second: take two or three seconds for a pass."
NO_TOP = "The pressure does not go as it does when a piston passes the top."
UNLIKE = "The two passes were too unlike: {:.0f} and {:.0f} degrees a second."
LAG = "The pressure lags by {:.0f} degrees: the leak is too large for this, or the pass too quick."
TOO_WIDE = "Known to +-{:.1f} degrees, and {:.1f} is what the crank bears at this pressure. More slowly it is surer."


@dataclass(frozen=True, slots=True)
class Pass:
    """One way over the top: moments of the peak, the top and the tone, and the crank's speed at the top, rad/s."""

    peak_s: float
    top_s: float
    tone_s: float
    speed: float

    @property
    def lead_rad(self) -> float:
        """By how much the peak came before the top: the error of taking the peak of one pass for it."""
        return self.speed * (self.top_s - self.peak_s)


@dataclass(frozen=True, slots=True)
class SweepEstimate:
    """`lag_s`: from the top to the tone. `from_middle_rad`: where top dead centre lies from the middle of the marks, in
    the direction of the first pass; `u_rad` its standard uncertainty; `apart_rad`: how far apart the marks should be.
    `reason`: why it is not usable, empty if it is."""

    forward: Pass
    back: Pass
    lag_s: float
    from_middle_rad: float
    u_rad: float
    apart_rad: float
    reason: str = ""

    @property
    def usable(self) -> bool:
        return not self.reason

    @property
    def expanded_rad(self) -> float:
        """Half of the 95 % interval."""
        return COVERAGE * self.u_rad


@dataclass(frozen=True, slots=True)
class NotUsable:
    reason: str


def two_way_sweep(
    t_s: Floats,
    supply_gauge_pa: Floats,
    cylinder_gauge_pa: Floats,
    geometry: CrankGeometry,
    instrument: Instrument,
    hose_m3: float,
    tolerable_rad: float,
) -> SweepEstimate | NotUsable:
    """What two passes say, in ticks from the rest before the first to the rest after the second. See above.

    `tolerable_rad`: what the crank bears at the pressure of the test that shall follow.
    """
    if refused := _refused(t_s, cylinder_gauge_pa):
        return NotUsable(f"{refused} {STOP_OR_DIAL}")
    watch = ToneWatch()
    watch.feed(cylinder_gauge_pa)
    if len(watch.humps) != 2:
        return NotUsable(f"{NOT_TWO.format(len(watch.humps))} {STOP_OR_DIAL}")
    if any(hump.fall - hump.peak < FEWEST_ROWS for hump in watch.humps):
        return NotUsable(f"{TOO_FAST} {STOP_OR_DIAL}")
    course = _Course(t_s, supply_gauge_pa, cylinder_gauge_pa, geometry, instrument, hose_m3)
    passes = [course.over_the_top(hump) for hump in watch.humps]
    if passes[0] is None or passes[1] is None:
        return NotUsable(f"{NO_TOP} {STOP_OR_DIAL}")
    return _judged(passes[0], passes[1], tolerable_rad)


def _refused(t_s: Floats, cylinder_pa: Floats) -> str:
    if len(t_s) < 4 * REST_ROWS:
        return NOT_TWO.format(0)
    steps = np.diff(t_s)
    if not np.allclose(steps, np.median(steps), rtol=0.1):
        return MISSING
    (before, noise), (after, _) = at_rest(cylinder_pa[:REST_ROWS]), at_rest(cylinder_pa[-REST_ROWS:])
    if before < 5e3:
        return NO_AIR
    return NO_REST if abs(after - before) > max(NOISES * noise, 2 * CLEAR_RISE * before) else ""


class _Course:
    """The pressures of a sweep as net flow and change of pressure, absolute."""

    def __init__(
        self,
        t_s: Floats,
        supply_pa: Floats,
        cylinder_pa: Floats,
        geometry: CrankGeometry,
        instrument: Instrument,
        hose_m3: float,
    ) -> None:
        self._t_s, self._cylinder_pa = t_s, cylinder_pa
        self._rest_pa, _ = at_rest(cylinder_pa[:REST_ROWS])
        clearance = geometry.clearance_m3 or ASSUMED_CLEARANCE * geometry.swept_m3
        self._volume_m3, self._opening_m3 = clearance + hose_m3, geometry.opening_m3
        self._growth = self._growth_of(supply_pa, instrument)

    def _growth_of(self, supply_pa: Floats, instrument: Instrument) -> Floats:
        """dp/dt / p less what the flow does to it: minus n dV/dt / V, 1/s; zero at the top."""
        atmosphere, temperature = instrument.atmosphere_pa, instrument.gas_temperature_k
        pressure, per_s = _smooth(self._cylinder_pa) + atmosphere, _slope(self._cylinder_pa, self._t_s)
        rest = self._rest_pa + atmosphere
        supply_at_rest = float(np.median(supply_pa[:REST_ROWS])) + atmosphere
        # A cylinder that reads above its supply is tight, and the sensors differ: then the supply is what it reads.
        supply = supply_pa + atmosphere + max(0.0, rest - supply_at_rest)
        inflow = _both_ways(supply, pressure, instrument)
        leak = _both_ways(max(supply_at_rest, rest), rest, instrument) / orifice.mass_flow(
            1.0, rest, atmosphere, temperature
        )
        net = inflow - orifice.mass_flow(leak, np.maximum(pressure, atmosphere), atmosphere, temperature)
        brought = orifice.GAS_CONSTANT * temperature * net / (pressure * self._volume_m3)
        growth: Floats = per_s / pressure - POLYTROPIC * brought
        return growth

    def over_the_top(self, hump: Hump) -> Pass | None:
        """None if it does not look like one."""
        turns = np.flatnonzero(self._growth[hump.peak : hump.fall + 1] < 0)
        if not len(turns) or not turns[0]:
            return None
        middle = hump.peak + int(turns[0])
        reach = max(2, (middle - hump.peak) // 2)
        rows = slice(max(middle - reach, 0), middle + reach + 1)
        slope, top_s = _line_to_zero(self._t_s[rows], self._growth[rows])
        if slope >= 0:
            return None
        speed = math.sqrt(-slope * self._volume_m3 / (POLYTROPIC * self._opening_m3))
        found = Pass(float(self._t_s[hump.peak]), top_s, self._crossing_s(hump.fall), speed)
        return found if found.lead_rad > 0 else None

    def _crossing_s(self, fall: int) -> float:
        """Where the pressure passes its value at rest, between two rows."""
        above, below = (self._cylinder_pa[fall - 1 : fall + 1] - self._rest_pa).tolist()
        before, after = self._t_s[fall - 1 : fall + 1].tolist()
        return float(before + (after - before) * above / (above - below))


def _both_ways(supply_pa: Floats | float, cylinder_pa: Floats | float, instrument: Instrument) -> Floats:
    """Through the restrictor into the cylinder, kg/s; below zero where the piston presses air back."""
    bore, temperature = restrictor(instrument), instrument.gas_temperature_k
    area, b = bore.effective_area_m2, bore.critical_ratio
    forth = orifice.mass_flow(area, supply_pa, cylinder_pa, temperature, b)
    return forth - orifice.mass_flow(area, cylinder_pa, supply_pa, temperature, b)


def _line_to_zero(t_s: Floats, values: Floats) -> tuple[float, float]:
    """Slope of the straight line through the rows, and where it is zero."""
    middle_s, mean = float(t_s.mean()), float(values.mean())
    slope = float(((t_s - middle_s) * (values - mean)).sum() / ((t_s - middle_s) ** 2).sum())
    return slope, middle_s - mean / slope if slope else middle_s


_PLACES = np.arange(-2.0, 3.0)
_SMOOTH = np.array([-3.0, 12.0, 17.0, 12.0, -3.0]) / 35
"""Parabola through five rows, at its middle. Ref: Savitzky and Golay, Analytical Chemistry 36 (1964) 1627."""


def _five(values: Floats) -> Floats:
    return np.lib.stride_tricks.sliding_window_view(np.pad(values, 2, mode="edge"), 5)


def _smooth(values: Floats) -> Floats:
    smooth: Floats = (_five(values) * _SMOOTH).sum(axis=-1)
    return smooth


def _slope(values: Floats, t_s: Floats) -> Floats:
    slope: Floats = (_five(values) * _PLACES).sum(axis=-1) / (10 * float(np.median(np.diff(t_s))))
    return slope


# ---- what both passes say


def _judged(forward: Pass, back: Pass, tolerable_rad: float) -> SweepEstimate:
    lag_s = max(0.0, (forward.tone_s - forward.top_s + back.tone_s - back.top_s) / 2)
    mark_s = lag_s + REACTION_S
    u = uncertainty_rad(forward.speed, back.speed, lag_s)
    reason = _reason(forward.speed, back.speed, lag_s, COVERAGE * u, tolerable_rad)
    return SweepEstimate(
        forward,
        back,
        lag_s,
        from_middle_rad=(back.speed - forward.speed) * mark_s / 2,
        u_rad=u,
        apart_rad=(back.speed + forward.speed) * mark_s,
        reason=f"{reason} {STOP_OR_DIAL}" if reason else "",
    )


def uncertainty_rad(forward_speed: float, back_speed: float, lag_s: float) -> float:
    """Standard uncertainty of the middle after its correction. What errs alike on both passes counts by half of the
    difference of the speeds, what errs by itself by the root of the squares."""
    alike = math.hypot(U_MODEL * lag_s, U_REACTION_S) * (forward_speed - back_speed)
    each = [
        error
        for speed in (forward_speed, back_speed)
        for error in (U_PACE * lag_s * speed, U_LAG_RAD, U_TONE_S * speed, U_MARK_RAD)
    ]
    return math.hypot(alike, *each) / 2


def _reason(forward_speed: float, back_speed: float, lag_s: float, expanded_rad: float, tolerable_rad: float) -> str:
    slow, quick = sorted((forward_speed, back_speed))
    if slow < SLOWEST_OVER_QUICKEST * quick:
        return UNLIKE.format(math.degrees(forward_speed), math.degrees(back_speed))
    if lag_s * quick > LARGEST_LAG_RAD:
        return LAG.format(math.degrees(lag_s * quick))
    if expanded_rad > tolerable_rad:
        return TOO_WIDE.format(math.degrees(expanded_rad), math.degrees(tolerable_rad))
    return ""


def trapped_bias_rad(geometry: CrankGeometry, volume_m3: float, speed: float, leak_time_s: float) -> float:
    """By how much the peak of trapped air comes before the top, on one pass: V / (Kc speed tau), small angles.

    `leak_time_s`: in which the leak lets the pressure fall to 1/e, the crank at rest. Turning faster makes it less.
    """
    return volume_m3 / (geometry.opening_m3 * speed * leak_time_s)


def leak_time_s(volume_m3: float, leak_area_m2: float, temperature_k: float) -> float:
    """In which trapped air falls to 1/e of its absolute pressure through a choked leak, isothermal: V / (R T A K)."""
    return volume_m3 / (orifice.GAS_CONSTANT * temperature_k * leak_area_m2 * orifice.choked_flux(temperature_k))
