"""The cases to look at first, each with the number of its bench: `--only NUMBER` tells its story."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from tests.benchmarks.truth.faults import FaultFinding
from tests.benchmarks.truth.findings import NO_AIR, BenchFinding
from tests.benchmarks.truth.summary import CHANGED_PCT, DEEP_PSI

MOST = 8
"""Of each kind."""
Case = tuple[float, int, str]


def worst(found: Sequence[BenchFinding], faulty: Sequence[FaultFinding]) -> list[str]:
    lines = [*_faulty(faulty)]
    for title, cases_of in KINDS:
        cases = sorted((case for bench in found for case in cases_of(bench)), reverse=True)
        if cases:
            lines.append(f"{title}: {len(cases)}" + (f", the worst {MOST}" if len(cases) > MOST else ""))
        lines += [f"  bench {number}: {text}" for _, number, text in cases[:MOST]]
    return lines


def _faulty(faulty: Sequence[FaultFinding]) -> Iterator[str]:
    """What was missed and what was told besides, with the numbers of the benches."""
    cases: dict[str, list[int]] = {}
    for each in faulty:
        texts = [f"{word} told besides {each.kind}" for word in each.besides]
        for text in texts if each.late_s is not None else [f"{each.kind} missed", *texts]:
            cases.setdefault(text, []).append(each.number)
    for text, numbers in sorted(cases.items(), key=lambda case: -len(case[1])):
        yield f"{text}: {len(numbers)}, bench {', '.join(map(str, numbers[:3]))}"


def _not_covered(bench: BenchFinding) -> Iterator[Case]:
    for reading in bench.readings.get("paired", ()):
        if not reading.covered and reading.place != NO_AIR:
            text = (
                f"at {reading.time_s:.2f} s ({reading.place}) off by {reading.error_pct:+.3f} of {reading.end_pct:.2f},"
                f" stated +-{reading.half_width_pct:.3f}, of it not settled {reading.off_window_pct:+.3f}"
            )
            yield abs(reading.error_pct) / reading.half_width_pct, bench.number, text


def _false_stable(bench: BenchFinding) -> Iterator[Case]:
    for reading in bench.readings.get("paired", ()):
        if reading.false:
            text = (
                f"at {reading.time_s:.2f} s ({reading.place}) the true loss was {reading.off_now_pct:+.3f} from its end"
            )
            yield abs(reading.off_now_pct), bench.number, text


def _late(bench: BenchFinding) -> Iterator[Case]:
    for each in bench.settlings:
        late_s = each.reading_s - each.oracle_s
        if each.kind != "other" and math.isfinite(each.oracle_s) and late_s > 2.0:
            yield (
                min(late_s, each.hold_s),
                bench.number,
                f"{each.kind}: {each.reading_s:.2f} s, oracle {each.oracle_s:.2f} s",
            )


def _missed(bench: BenchFinding) -> Iterator[Case]:
    for tap in bench.taps:
        if not tap.found and tap.depth_psi >= DEEP_PSI:
            yield tap.depth_psi, bench.number, f"at {tap.time_s:.2f} s, {tap.depth_psi:.2f} psi deep"


def _invented(bench: BenchFinding) -> Iterator[Case]:
    for tap in bench.invented:
        yield tap.depth_psi, bench.number, f"at {tap.time_s:.2f} s, {tap.depth_psi:.2f} psi deep"


def _wrong_direction(bench: BenchFinding) -> Iterator[Case]:
    for change in bench.changes:
        if abs(change.true_pct) >= CHANGED_PCT and not change.direction_right:
            said = "nothing" if math.isnan(change.told_pct) else f"{change.told_pct:+.2f} {change.verdict}"
            text = f"at {change.time_s:.2f} s true {change.true_pct:+.2f}, told {said}"
            yield abs(change.true_pct), bench.number, text


def _wrong_effect(bench: BenchFinding) -> Iterator[Case]:
    for change in bench.changes:
        if change.verdict not in ("", "cannot-tell") and not change.verdict_right:
            text = (
                f"at {change.time_s:.2f} s true {change.true_pct:+.3f}, told {change.told_pct:+.3f}"
                f" {change.verdict} {change.probability:.4f}"
            )
            yield abs(change.true_pct - change.told_pct), bench.number, text


def _wrong_verdict(bench: BenchFinding) -> Iterator[Case]:
    for reading in bench.readings.get("paired", ()):
        if not reading.verdict.right and reading.place != NO_AIR:
            said = f"{reading.verdict.word} {reading.verdict.probability:.4f}"
            text = (
                f"at {reading.time_s:.2f} s end {reading.end_pct:.2f}, off by {reading.error_pct:+.3f}, called {said}"
            )
            yield reading.verdict.probability, bench.number, text


def _faults(bench: BenchFinding) -> Iterator[Case]:
    for fault in bench.faults:
        yield 0.0, bench.number, fault
    if bench.refused:
        yield 0.0, bench.number, f"pairing refused: {' '.join(bench.refused.split())[:140]}"


KINDS: tuple[tuple[str, Callable[[BenchFinding], Iterator[Case]]], ...] = (
    ("interval does not hold the truth (paired)", _not_covered),
    ("false stable", _false_stable),
    ("stable reading more than 2 s after the oracle, or never", _late),
    ("taps missed", _missed),
    ("taps invented", _invented),
    ("direction of 0.5 points or more wrong or not told", _wrong_direction),
    ("wrong verdicts on taps", _wrong_effect),
    ("wrong verdicts on cylinders (paired)", _wrong_verdict),
    ("false faults and refused pairings", _faults),
)
