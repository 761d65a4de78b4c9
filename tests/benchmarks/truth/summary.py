"""From the findings of all benches to the table."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from tests.benchmarks.truth.faults import FaultFinding
from tests.benchmarks.truth.findings import NO_AIR, BenchFinding, ChangeFinding, ReadingFinding
from tests.benchmarks.truth.table import Row

DEEP_PSI = 1.0
"""A tap whose true fall is less is below what the instrument promises to see: neither found nor missed."""
CHANGED_PCT = 0.5
PATIENCE_S = 2.0
"""A reading is overdue when the oracle has settled so long before the end of the hold."""
BANDS_PCT = (0.0, 5.0, 20.0, 100.0)


def summary(found: Sequence[BenchFinding], faulty: Sequence[FaultFinding]) -> list[Row]:
    return [
        *_errors("paired", _of(found, "paired"), bias_goal=0.05),
        *_errors("data sheet only", _of(found, "data sheet"), bias_goal=None),
        *_errors("calibrated and paired", _of(found, "calibrated"), bias_goal=0.05),
        _false_stable(_of(found, "paired")),
        *_times(found),
        *_taps(found),
        *_changes([change for bench in found for change in bench.changes]),
        *_verdicts(found),
        *_expectations(found),
        _faults(faulty),
        _false_faults(found),
        _refused(found),
    ]


def _of(found: Sequence[BenchFinding], name: str) -> list[ReadingFinding]:
    return [reading for bench in found for reading in bench.readings.get(name, ())]


def _errors(name: str, readings: Sequence[ReadingFinding], bias_goal: float | None) -> Iterator[Row]:
    """Bias, spread and coverage."""
    kept = [reading for reading in readings if reading.place != NO_AIR]
    errors = np.array([reading.error_pct for reading in kept])
    unsettled = np.array([reading.off_window_pct for reading in kept])
    standard = errors.std(ddof=1) / math.sqrt(len(errors))
    detail = f"{len(errors)} readings; standard error {standard:.3f}, median {np.median(errors):+.3f}"
    low = None if bias_goal is None else -bias_goal
    yield Row(f"bias of stable readings, {name}", float(errors.mean()), "points", low, bias_goal, detail)
    stated, late, rest = (_rms(each) for each in ([r.u_pct for r in kept], unsettled, errors - unsettled))
    detail = f"rms: stated u {stated:.3f}; not settled yet {late:.3f}, all else {rest:.3f}"
    yield Row(f"spread of stable readings, {name}", float(errors.std(ddof=1)), "points", detail=detail)
    detail = "; ".join(_coverage_of_band(kept, low, high) for low, high in pairwise(BANDS_PCT))
    yield Row(f"95 % interval holds the truth, {name}", _share(r.covered for r in kept), "%", 94.0, 96.0, detail)
    share, detail = _share(r.sensors_covered for r in kept), "the goal is that of the row above"
    yield Row("  and the true loss of its window, settled or not", share, "%", detail=detail)


def _rms(values: Iterable[float]) -> float:
    return float(np.sqrt(np.mean(np.square(list(values)))))


def _coverage_of_band(readings: Sequence[ReadingFinding], low: float, high: float) -> str:
    inside = [reading.covered for reading in readings if low <= reading.end_pct < high]
    return f"{_share(inside):.1f} % of {len(inside)} at {low:g} to {high:g}"


def _false_stable(readings: Sequence[ReadingFinding]) -> Row:
    wrong = [reading for reading in readings if reading.false]
    by_window = sum(abs(reading.off_window_pct) > 0.1 for reading in readings)
    places = Counter(reading.place for reading in wrong)
    detail = f"{len(wrong)} of {len(readings)} {_counted(places)}; {by_window} by the mean of the window"
    return Row("false stable readings", 1000 * len(wrong) / len(readings), "of 1000", None, 1.0, detail)


def _times(found: Sequence[BenchFinding]) -> Iterator[Row]:
    settled = [
        each for bench in found for each in bench.settlings if math.isfinite(each.oracle_s) and each.kind != "other"
    ]
    late_s = np.array([each.reading_s - each.oracle_s for each in settled])
    overdue = sum(math.isinf(each.reading_s) and each.hold_s - each.oracle_s > PATIENCE_S for each in settled)
    oracle_s, reading_s = (np.median([getattr(each, name) for each in settled]) for name in ("oracle_s", "reading_s"))
    detail = (
        f"{len(settled)} holds; medians {oracle_s:.2f} and {reading_s:.2f} s; 90 % within {_quantile(late_s, 0.9)} s"
    )
    yield Row("time to stable after the oracle, median", float(np.median(late_s)), "s", None, 0.5, detail)
    share = 100 * overdue / len(settled)
    detail = f"{overdue} holds with {PATIENCE_S:g} s or more left for it"
    yield Row("holds without a stable reading", share, "%", detail=detail)


def _quantile(values: np.ndarray, part: float) -> str:
    value = float(np.quantile(values, part, method="inverted_cdf"))
    return "never" if math.isinf(value) else f"{value:.2f}"


def _taps(found: Sequence[BenchFinding]) -> Iterator[Row]:
    taps = [tap for bench in found for tap in bench.taps]
    deep = [tap for tap in taps if tap.depth_psi >= DEEP_PSI]
    faint = [tap for tap in taps if tap.depth_psi < DEEP_PSI]
    missed = len(deep) - sum(tap.found for tap in deep)
    detail = (
        f"{missed} of {len(deep)} missed; fainter than {DEEP_PSI:g} psi: {sum(t.found for t in faint)} of {len(faint)}"
    )
    yield Row("taps found", _share(tap.found for tap in deep), "%", 99.5, None, detail)
    invented = sum(len(bench.invented) for bench in found)
    hours = sum(bench.seconds for bench in found) / 3600
    yield Row("taps invented", invented / hours, "an hour", None, 1.0, f"{invented} in {hours:.1f} hours")


def _changes(changes: Sequence[ChangeFinding]) -> Iterator[Row]:
    large = [change for change in changes if abs(change.true_pct) >= CHANGED_PCT]
    told = [change for change in large if not math.isnan(change.told_pct)]
    right = [change.direction_right for change in told]
    words = _counted(Counter(change.verdict or "no verdict" for change in told))
    detail = f"{right.count(False)} of {len(told)} wrong, {len(large) - len(told)} not told {words}"
    yield Row("direction right, change of 0.5 or more", _share(right), "%", 99.5, None, detail)
    judged = [change for change in changes if change.verdict not in ("", "cannot-tell")]
    if not judged:
        yield Row("wrong verdicts on taps", math.nan, "%")
        return
    wrong = [not change.verdict_right for change in judged]
    risk = 100 * float(np.mean([1 - change.probability for change in judged]))
    rest = sum(change.verdict == "cannot-tell" for change in changes)
    detail = f"{sum(wrong)} of {len(judged)}; stated risk {risk:.2f} %; besides {rest} cannot tell"
    yield Row("wrong verdicts on taps", _share(wrong), "%", detail=detail)


def _verdicts(found: Sequence[BenchFinding]) -> Iterator[Row]:
    """By the common limits, of all stable readings; one that is too close to call cannot be wrong."""
    for name in ("paired", "data sheet", "calibrated"):
        verdicts = [reading.verdict for reading in _of(found, name) if reading.place != NO_AIR]
        called = [verdict for verdict in verdicts if verdict.word != "too close to call"]
        wrong = Counter(verdict.word for verdict in called if not verdict.right)
        risk = 100 * float(np.mean([1 - verdict.probability for verdict in called]))
        close = len(verdicts) - len(called)
        detail = (
            f"{wrong.total()} of {len(called)} {_counted(wrong)}; stated risk {risk:.2f} %; besides {close} too close"
        )
        yield Row(f"wrong verdicts on cylinders, {name}", 100 * wrong.total() / len(called), "%", detail=detail)


def _expectations(found: Sequence[BenchFinding]) -> Iterator[Row]:
    told = [each for bench in found for each in bench.expectations]
    if not told:
        yield Row("95 % interval of expectations holds the end", math.nan, "%")
        return
    firsts = [bench.expectations[0] for bench in found if bench.expectations]
    wide, since_s = (np.median([getattr(each, name) for each in firsts]) for name in ("half_width_pct", "since_s"))
    detail = f"{len(told)} told; the first of {len(firsts)} fills at {since_s:.2f} s, +-{wide:.2f} points (medians)"
    yield Row("95 % interval of expectations holds the end", _share(e.inside for e in told), "%", detail=detail)


def _faults(faulty: Sequence[FaultFinding]) -> Row:
    missed = Counter(each.kind for each in faulty if each.late_s is None)
    times_s = [each.late_s for each in faulty if each.late_s is not None]
    besides = Counter(word for each in faulty for word in each.besides)
    late = f"told after {np.median(times_s):.2f} s (median)" if times_s else "none told"
    missing = f"{missed.total()} of {len(faulty)} missed {_counted(missed)}"
    detail = f"{missing}; {late}; besides {besides.total()} other faults {_counted(besides)}"
    return Row("faults found", _share(each.late_s is not None for each in faulty), "%", detail=detail)


def _false_faults(found: Sequence[BenchFinding]) -> Row:
    faults = Counter(fault for bench in found for fault in bench.faults)
    hours = sum(bench.seconds for bench in found) / 3600
    return Row("faults told where there are none", faults.total() / hours, "an hour", detail=_counted(faults))


def _refused(found: Sequence[BenchFinding]) -> Row:
    """Such a bench has no paired readings."""
    count = sum(bool(bench.refused) for bench in found)
    return Row(
        "pairings refused", 100 * count / len(found), "%", detail=f"{count} of {len(found)}, all of good sensors"
    )


def _counted(counts: Counter[str]) -> str:
    return "(" + ", ".join(f"{count} {word}" for word, count in counts.most_common()) + ")" if counts else ""


def _share(flags: Iterable[bool]) -> float:
    """Percent that are true; NaN of none."""
    values = [bool(flag) for flag in flags]
    return 100 * sum(values) / len(values) if values else math.nan
