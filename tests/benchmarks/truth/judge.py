"""What a pipeline said of one bench, held against what is true of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from daq.measure.limits import carried
from daq.procedure.verdict import COMMON_PRACTICE, Limits, Verdict
from daq.procedure.verdict import judge as verdict_of
from daq.records import Calibration, Expectation, Fault, Instrument, StableReading, Tap, TapEffect
from daq.units import PA_PER_PSI
from tests.benchmarks.truth.course import AIR_ON_S
from tests.benchmarks.truth.draw import Plan
from tests.benchmarks.truth.findings import (
    NO_AIR,
    BenchFinding,
    ChangeFinding,
    ExpectationFinding,
    InventedFinding,
    ReadingFinding,
    SettlingFinding,
    TapFinding,
    VerdictFinding,
)
from tests.benchmarks.truth.oracle import Oracle, ask
from tests.benchmarks.truth.run import Seen, board_bytes, measure

TAP_EARLY_S, TAP_LATE_S = 0.15, 0.3
"""How far the onset that is told may be from the blow."""
LONGEST_BLOW_S = 0.06
TOLD_ANYWAY_PCT = 0.01
"""A smaller true change is none, and nobody needs to be told."""


def judge(plan: Plan) -> BenchFinding:
    """Run a bench and its twin, and compare. Taps, times and changes are judged with the paired calibration, or with
    the data sheet where the pairing was refused."""
    data, oracle = board_bytes(plan), ask(plan)
    known = plan.calibrations
    records = {"data sheet": known.data_sheet, "paired": known.paired, "calibrated": known.calibrated}
    used = {name: calibration for name, calibration in records.items() if calibration is not None}
    seen = {name: measure(plan, calibration, data) for name, calibration in used.items()}
    main = seen.get("paired", seen["data sheet"])
    taps, invented = _taps(plan, oracle, main)
    return BenchFinding(
        plan.number,
        plan.ends_s,
        {name: tuple(_readings(plan, oracle, seen[name], used[name])) for name in used},
        tuple(_settlings(plan, oracle, main)),
        taps,
        invented,
        tuple(_changes(plan, oracle, main)),
        tuple(_expectations(plan, oracle, main)),
        tuple(fault.fault for fault in main.of(Fault) if not fault.over),
        known.refused,
    )


def _readings(plan: Plan, oracle: Oracle, seen: Seen, calibration: Calibration) -> Iterator[ReadingFinding]:
    limits = _limits(plan.instrument, calibration)
    for reading in seen.of(StableReading):
        time_s = seen.time.scenario_s(reading.t_s)
        middle_s = time_s - 0.5 * reading.window_s
        end_pct = oracle.end_at(middle_s)
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
            verdict=_verdict(reading, limits, oracle.end_at(middle_s, at_pa=plan.instrument.set_point_pa)),
        )


def _place(plan: Plan, time_s: float) -> str:
    if not AIR_ON_S <= time_s <= plan.holds[-1].to_s:
        return NO_AIR
    return next((hold.kind for hold in plan.holds if hold.from_s <= time_s <= hold.to_s), "between")


def _limits(instrument: Instrument, calibration: Calibration) -> Limits:
    """The common limits as this instrument reads them."""
    bounds = (COMMON_PRACTICE.sound_to, COMMON_PRACTICE.investigate_from)
    sound_to, investigate_from = (carried(limit, instrument, calibration) for limit in bounds)
    return replace(COMMON_PRACTICE, sound_to=sound_to, investigate_from=investigate_from)


def _verdict(reading: StableReading, limits: Limits, true_pct: float) -> VerdictFinding:
    """`true_pct` is the end value at the set point."""
    said = verdict_of(reading, limits, cold=False)
    right = {
        Verdict.SOUND: true_pct <= limits.sound_to.loss_pct,
        Verdict.WATCH: limits.sound_to.loss_pct < true_pct < limits.investigate_from.loss_pct,
        Verdict.INVESTIGATE: true_pct >= limits.investigate_from.loss_pct,
        Verdict.TOO_CLOSE: True,
    }
    return VerdictFinding(said.verdict.value, said.probability, right[said.verdict])


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
    """Each effect that was told; and each blow that changed something and that none of them tells of."""
    readings = seen.of(StableReading)
    spans = []
    for effect in seen.of(TapEffect):
        before = next(reading for reading in readings if reading.loss_at_set_pct == effect.before_pct)
        from_s, to_s = (seen.time.scenario_s(t_s) for t_s in (before.t_s, effect.t_s))
        spans.append((from_s, to_s))
        true_pct = oracle.end_at(to_s) - oracle.end_at(from_s)
        yield ChangeFinding(to_s, true_pct, effect.change_pct, effect.verdict.value, effect.probability)
    for blow_s in plan.blows_s:
        true_pct = oracle.end_at(blow_s + LONGEST_BLOW_S) - oracle.end_at(blow_s - 0.01)
        if abs(true_pct) > TOLD_ANYWAY_PCT and not any(from_s < blow_s < to_s for from_s, to_s in spans):
            yield ChangeFinding(blow_s, true_pct, math.nan, "", math.nan)


def _expectations(plan: Plan, oracle: Oracle, seen: Seen) -> Iterator[ExpectationFinding]:
    for told in seen.of(Expectation):
        time_s = seen.time.scenario_s(told.t_s)
        end_pct = oracle.end_at(time_s)
        begin_s = max((hold.from_s for hold in plan.holds if hold.from_s <= time_s), default=AIR_ON_S)
        half_width_pct = 0.5 * (told.high_pct - told.low_pct)
        inside = told.low_pct <= end_pct <= told.high_pct
        yield ExpectationFinding(time_s - begin_s, told.loss_pct - end_pct, half_width_pct, inside)
