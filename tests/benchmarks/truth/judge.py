"""What a pipeline said of one bench, held against what is true of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from daq.records import CylinderDone, Expectation, Fault, StableReading, Tap, TapEffect
from daq.units import PA_PER_PSI
from tests.benchmarks.truth.course import AIR_ON_S
from tests.benchmarks.truth.draw import Plan
from tests.benchmarks.truth.oracle import SETTLED_PCT, Oracle, ask
from tests.benchmarks.truth.run import Seen, board_bytes, measure

TAP_EARLY_S, TAP_LATE_S = 0.15, 0.3
"""How far the onset that is told may be from the blow."""
LONGEST_BLOW_S = 0.06


@dataclass(frozen=True)
class ReadingFinding:
    """A stable reading: its error against the end value in the middle of its window, its 95 % half-width and u; and how
    far the true loss was from its end value when the reading was issued, and on average over its window. `place` is
    the hold it fell in."""

    place: str
    time_s: float
    end_pct: float
    error_pct: float
    half_width_pct: float
    u_pct: float
    off_now_pct: float
    off_window_pct: float

    @property
    def covered(self) -> bool:
        return abs(self.error_pct) <= self.half_width_pct

    @property
    def sensors_covered(self) -> bool:
        """The same, had it only been asked for the true loss of its window, settled or not."""
        return abs(self.error_pct - self.off_window_pct) <= self.half_width_pct

    @property
    def false(self) -> bool:
        """Issued while the true loss was not within 0.1 point of its end value, or without air."""
        return self.place == "no air" or abs(self.off_now_pct) > SETTLED_PCT


@dataclass(frozen=True)
class SettlingFinding:
    """When the oracle and the first stable reading came, from the begin of the hold; infinite for never."""

    kind: str
    hold_s: float
    oracle_s: float
    reading_s: float


@dataclass(frozen=True)
class TapFinding:
    """A blow, the true fall of pressure by it, and whether it was told."""

    time_s: float
    depth_psi: float
    found: bool


@dataclass(frozen=True)
class InventedFinding:
    """A tap that was told and never happened."""

    time_s: float
    depth_psi: float


@dataclass(frozen=True)
class ChangeFinding:
    """What taps did to the loss, truly and as told (NaN if nothing was told); `verdict` is "" until there are any."""

    true_pct: float
    told_pct: float
    u_pct: float
    verdict: str
    probability: float

    @property
    def direction_right(self) -> bool:
        """Its sign was told, and it was not called no change."""
        return self.told_pct * self.true_pct > 0 and self.verdict != "no-change"


@dataclass(frozen=True)
class ExpectationFinding:
    """An expectation told before the loss had settled, against the end value; `since_s` from the begin of its hold."""

    since_s: float
    error_pct: float
    half_width_pct: float
    inside: bool


@dataclass(frozen=True)
class BenchFinding:
    """All that was found on one bench; `paired` and `unpaired` are the readings with each calibration."""

    number: int
    seconds: float
    paired: tuple[ReadingFinding, ...]
    unpaired: tuple[ReadingFinding, ...]
    settlings: tuple[SettlingFinding, ...]
    taps: tuple[TapFinding, ...]
    invented: tuple[InventedFinding, ...]
    changes: tuple[ChangeFinding, ...]
    expectations: tuple[ExpectationFinding, ...]
    faults: tuple[str, ...]


def judge(plan: Plan) -> BenchFinding:
    """Run a bench and its twin, and compare. Taps, times and changes are judged with the paired calibration."""
    data, oracle = board_bytes(plan), ask(plan)
    paired, unpaired = (measure(plan, calibration, data) for calibration in (plan.paired, plan.unpaired))
    taps, invented = _taps(plan, oracle, paired)
    return BenchFinding(
        plan.number,
        plan.ends_s,
        tuple(_readings(plan, oracle, paired)),
        tuple(_readings(plan, oracle, unpaired)),
        tuple(_settlings(plan, oracle, paired)),
        taps,
        invented,
        tuple(_changes(plan, oracle, paired)),
        tuple(_expectations(plan, oracle, paired)),
        tuple(fault.fault for fault in paired.of(Fault) if not fault.over),
    )


def _readings(plan: Plan, oracle: Oracle, seen: Seen) -> Iterator[ReadingFinding]:
    for reading in seen.of(StableReading):
        time_s = seen.time.scenario_s(reading.t_s)
        end_pct = oracle.end_at(time_s - 0.5 * reading.window_s)
        stated = math.isfinite(reading.expanded_u_loss_pct)
        yield ReadingFinding(
            place=_place(plan, time_s),
            time_s=time_s,
            end_pct=end_pct,
            error_pct=reading.loss_pct - end_pct,
            half_width_pct=reading.expanded_u_loss_pct if stated else 2 * reading.u_loss_pct,
            u_pct=reading.u_loss_pct,
            off_now_pct=oracle.off_end_at(time_s),
            off_window_pct=oracle.off_end_over(time_s - reading.window_s, time_s),
        )


def _place(plan: Plan, time_s: float) -> str:
    if not AIR_ON_S <= time_s <= plan.holds[-1].to_s:
        return "no air"
    return next((hold.kind for hold in plan.holds if hold.from_s <= time_s <= hold.to_s), "between")


def _settlings(plan: Plan, oracle: Oracle, seen: Seen) -> Iterator[SettlingFinding]:
    times_s = [seen.time.scenario_s(reading.t_s) for reading in seen.of(StableReading)]
    for hold in plan.holds:
        first_s = next((time_s for time_s in times_s if hold.from_s <= time_s <= hold.to_s), math.inf)
        yield SettlingFinding(hold.kind, hold.to_s - hold.from_s, oracle.settled_s(hold), first_s - hold.from_s)


def _taps(plan: Plan, oracle: Oracle, seen: Seen) -> tuple[tuple[TapFinding, ...], tuple[InventedFinding, ...]]:
    """Each blow is found by the first tap told near it; what is told near none is invented."""
    told = {seen.time.scenario_s(tap.onset_s): tap.depth_pa / PA_PER_PSI for tap in seen.of(Tap)}
    found = []
    for blow_s in plan.blows_s:
        near = [onset_s for onset_s in told if -TAP_EARLY_S <= onset_s - blow_s <= TAP_LATE_S]
        found.append(TapFinding(blow_s, oracle.depth_pa(blow_s, LONGEST_BLOW_S) / PA_PER_PSI, bool(near)))
        if near:
            del told[near[0]]
    return tuple(found), tuple(InventedFinding(onset_s, depth) for onset_s, depth in told.items())


def _changes(plan: Plan, oracle: Oracle, seen: Seen) -> Iterator[ChangeFinding]:
    """The last word on the cylinder: by the verdict on its taps, or else by the difference of both its readings."""
    if not plan.blows_s:
        return
    true_pct = oracle.end_at(plan.holds[-1].to_s - 0.1) - oracle.end_at(plan.blows_s[0] - 0.1)
    effects = seen.of(TapEffect)
    done = next((done for done in seen.of(CylinderDone) if done.after_tap is not None), None)
    if effects:
        last = effects[-1]
        yield ChangeFinding(true_pct, last.change_pct, last.u_change_pct, last.verdict.value, last.probability)
    elif done is not None and done.after_tap is not None:
        yield ChangeFinding(true_pct, done.after_tap.loss_pct - done.as_found.loss_pct, math.nan, "", math.nan)
    else:
        yield ChangeFinding(true_pct, math.nan, math.nan, "", math.nan)


def _expectations(plan: Plan, oracle: Oracle, seen: Seen) -> Iterator[ExpectationFinding]:
    for told in seen.of(Expectation):
        time_s = seen.time.scenario_s(told.t_s)
        end_pct = oracle.end_at(time_s)
        begin_s = max((hold.from_s for hold in plan.holds if hold.from_s <= time_s), default=AIR_ON_S)
        half_width_pct = 0.5 * (told.high_pct - told.low_pct)
        inside = told.low_pct <= end_pct <= told.high_pct
        yield ExpectationFinding(time_s - begin_s, told.loss_pct - end_pct, half_width_pct, inside)
