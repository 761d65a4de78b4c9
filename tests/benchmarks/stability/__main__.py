"""Published tests of steadiness beside each other, on the same ticks of random benches with known truth.

    python -m tests.benchmarks.stability [--benches 300] [--seed 1] [--judging]

*What is left*: an exponential with the longest time constant that volume and leak allow is fitted, and what it has left
must be shown to be small (what the instrument does). *Slope*: equivalence test on both slopes. *Ratio*: Cao and
Rhinehart's ratio of variances with three filter factors. Each with several limits, so that they can be compared where
they are equally often wrong. False stable readings and the oracle are those of tests/benchmarks/truth. Hysteresis and
the repeated telling of a value that moved are left out: they would be the same for all.
It reports and does not judge: the exit code is 0 whatever the values are.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from tests.benchmarks.stability.approaches import APPROACHES, Clean, clean
from tests.benchmarks.stability.rows import rows_of
from tests.benchmarks.stability.score import Score, score

EQUALLY_OF_1000 = (2.0, 5.0, 20.0)


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.stability",
        description=__doc__,
        formatter_class=argparse.RawTextHelpFormatter,
    )
    parser.add_argument("--benches", type=int, default=300, metavar="N")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--judging", action="store_true", help="the wider ranges, which nothing may be chosen by")
    options = parser.parse_args()
    population = "judging" if options.judging else "tuning"
    with ProcessPoolExecutor() as pool:
        given = list(pool.map(partial(_clean, population, options.seed), range(options.benches), chunksize=4))
    print(f"{options.benches} random benches, {population}, seed {options.seed}\n")
    print("\n".join(lines(given)))


def _clean(population: str, seed: int, number: int) -> Clean:
    return clean(rows_of(population, seed, number))


def lines(given: Sequence[Clean]) -> Iterator[str]:
    """One line for each limit, then which limit of each waits least while it is not wrong more often."""
    found = {
        name: {limit: score(given, stable, limit) for limit in limits} for name, (stable, limits) in APPROACHES.items()
    }
    yield f"{'':22}{'limit':>7}{'told':>7}{'false':>7}{'of 1000':>9}{'wait':>8}{'90 %':>8}{'never':>7}"
    for name, scores in found.items():
        yield from (_line(name, limit, each) for limit, each in scores.items())
    for most in EQUALLY_OF_1000:
        yield f"\nleast wait with at most {most:g} false of 1000:"
        for name, scores in found.items():
            good = {limit: each for limit, each in scores.items() if each.false_of_1000 <= most}
            best = min(good, key=lambda limit: good[limit].median_s, default=None)
            yield _line(name, best, good[best]) if best is not None else f"{name:<22}  no limit is"


def _line(name: str, limit: float, each: Score) -> str:
    wait, late = (f"{s:.2f} s" if math.isfinite(s) else "never" for s in (each.median_s, each.late_s))
    counts = f"{limit:>7g}{each.told:>7}{each.false:>7}{each.false_of_1000:>9.1f}"
    return f"{name:<22}{counts}{wait:>8}{late:>8}{each.never:>7}"


if __name__ == "__main__":
    main()
