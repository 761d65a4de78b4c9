"""The cases to look at first, each with the number of its bench: `--only NUMBER` tells its story."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from tests.benchmarks.truth.judge import BenchFinding
from tests.benchmarks.truth.summary import CHANGED_PCT, DEEP_PSI

MOST = 8
"""Of each kind."""
Case = tuple[float, int, str]


def worst(found: Sequence[BenchFinding]) -> list[str]:
    lines = []
    for title, cases_of in KINDS:
        cases = sorted((case for bench in found for case in cases_of(bench)), reverse=True)
        if cases:
            lines.append(f"{title}: {len(cases)}" + (f", the worst {MOST}" if len(cases) > MOST else ""))
        lines += [f"  bench {number}: {text}" for _, number, text in cases[:MOST]]
    return lines


def _not_covered(bench: BenchFinding) -> Iterator[Case]:
    for reading in bench.paired:
        if not reading.covered and reading.place != "no air":
            text = (
                f"at {reading.time_s:.2f} s ({reading.place}) off by {reading.error_pct:+.3f} of {reading.end_pct:.2f},"
                f" stated +-{reading.half_width_pct:.3f}, of it not settled {reading.off_window_pct:+.3f}"
            )
            yield abs(reading.error_pct) / reading.half_width_pct, bench.number, text


def _false_stable(bench: BenchFinding) -> Iterator[Case]:
    for reading in bench.paired:
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
            text = f"true {change.true_pct:+.2f}, told {change.told_pct:+.2f} {change.verdict}"
            yield abs(change.true_pct), bench.number, text


def _faults(bench: BenchFinding) -> Iterator[Case]:
    for fault in bench.faults:
        yield 0.0, bench.number, fault


KINDS: tuple[tuple[str, Callable[[BenchFinding], Iterator[Case]]], ...] = (
    ("interval does not hold the truth (paired)", _not_covered),
    ("false stable", _false_stable),
    ("stable reading more than 2 s after the oracle, or never", _late),
    ("taps missed", _missed),
    ("taps invented", _invented),
    ("direction wrong or not told", _wrong_direction),
    ("false faults", _faults),
)
