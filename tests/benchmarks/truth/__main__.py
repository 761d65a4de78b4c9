"""`make truth`: what the instrument says of random simulated benches, beside what is true of them.

    python -m tests.benchmarks.truth [--benches 1000] [--seed 1] [--tuning] [--only NUMBER] [--json] [--picture FILE]

Each bench is drawn at random (ranges.py), simulated to the bytes of its board, and measured by the whole pipeline. A
noise-free twin of the bench (simulator/oracle.py) tells the truth:

- *End value*: the steady loss of the leak of that moment, by the simulator's own balance of mass and energy.
- *Error* of a stable reading: its loss less the end value in the middle of its window. What has not settled counts.
- *False stable*: a stable reading issued while the true loss was more than 0.1 point from its end, or without air.
- *Oracle*: sees the noise-free pressures; settled at the first moment from which on the true loss stays within
  0.1 point of its end value. Times count from the opening of the air, or from the last tap.
- *Found*: a tap told with its onset at most 0.15 s before and 0.3 s after the blow; *invented*: told near no blow.
  Taps that fall by less than 1 psi are not promised; they are counted apart. Droops, steps of the regulator,
  compressors and hands on the hose happen on some benches and must not count.
- *Direction*: the sign of a change by taps that was told, where the true one between the same two readings is
  0.5 points or more; "no change" is wrong then.
- *Wrong verdict on taps*: "improved", "worse" or "no change" where the true change is not below -0.25, above 0.25,
  or between. The stated risk is one less the stated probability.
- *Wrong verdict on cylinders*: by the common limits, carried to the instrument; the truth is the end value at the set
  point. The engine is said to be hot.
- *Faults*: on one more bench for each eight, something goes wrong (faults.py); it must be told by its name.
- *Paired*: the channels' data sheets and a pairing some days old, made from a simulated run with the outlet blocked.
  *Calibrated and paired*: besides, lines against a gauge, some months old. *Data sheet only*: neither. All with the
  same bytes. The error of each piece is uniform within the limits of its class, and what has drifted since pairing
  and calibration within what a user is told to expect.

Judging and tuning are kept apart: `--tuning` draws from other seeds and narrower ranges, and is what defaults may be
chosen by. Without it the ranges are wider in every direction; nothing may be chosen by looking there.
It reports and does not judge: the exit code is 0 whatever the values are.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from tests.benchmarks.truth.draw import Plan, draw
from tests.benchmarks.truth.faults import FIRST_NUMBER, FaultFinding, draw_faulty, judge_faulty
from tests.benchmarks.truth.findings import BenchFinding
from tests.benchmarks.truth.judge import judge
from tests.benchmarks.truth.picture import picture
from tests.benchmarks.truth.story import story
from tests.benchmarks.truth.summary import summary
from tests.benchmarks.truth.table import lines
from tests.benchmarks.truth.worst import worst

SOUND_FOR_EACH_FAULTY = 8
TOGETHER = 4
"""Benches that a process is given at a time."""


def main() -> None:
    options = _options()
    population = "tuning" if options.tuning else "judging"
    if options.only is not None:
        print("\n".join(story(_plan(population, options.seed, options.only))))
        return
    began_s = time.monotonic()
    found, faulty = _judge_all(population, options.seed, options.benches)
    took_s = time.monotonic() - began_s
    rows = summary(found, faulty)
    title = f"{options.benches} random benches, {population}, seed {options.seed}"
    options.picture.parent.mkdir(parents=True, exist_ok=True)
    options.picture.write_text(picture(found, title), encoding="utf-8")
    if options.json:
        print(json.dumps({"title": title, "seconds": took_s, "rows": [row.as_dict() for row in rows]}, indent=1))
        return
    again = (
        f"python -m tests.benchmarks.truth --seed {options.seed}{' --tuning' if options.tuning else ''} --only NUMBER"
    )
    print("\n".join([title, "", *lines(rows), "", f"To look at first ({again}):", *worst(found, faulty), ""]))
    print(f"{took_s:.0f} s on {os.cpu_count()} cores. Picture: {options.picture}")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.truth", description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--benches", type=int, default=1000, metavar="N")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tuning", action="store_true", help="the population that defaults may be chosen by")
    parser.add_argument("--only", type=int, metavar="NUMBER", help="tell the story of one bench")
    parser.add_argument("--json", action="store_true", help="for programs: JSON on standard output")
    parser.add_argument("--picture", type=Path, default=Path(tempfile.gettempdir()) / "boretight-truth.svg")
    return parser.parse_args()


def _judge_all(population: str, seed: int, benches: int) -> tuple[list[BenchFinding], list[FaultFinding]]:
    """On all cores; progress on standard error."""
    numbers = [*range(benches), *range(FIRST_NUMBER, FIRST_NUMBER + benches // SOUND_FOR_EACH_FAULTY)]
    found: list[BenchFinding] = []
    faulty: list[FaultFinding] = []
    with ProcessPoolExecutor() as pool:
        judged = pool.map(partial(_judge, population, seed), numbers, chunksize=TOGETHER)
        for count, finding in enumerate(judged, 1):
            if count % 10 == 0 or count == len(numbers):
                print(f"\rtruth: {count} of {len(numbers)} benches", end="", file=sys.stderr, flush=True)
            if isinstance(finding, FaultFinding):
                faulty.append(finding)
            else:
                found.append(finding)
    print(file=sys.stderr)
    return found, faulty


def _plan(population: str, seed: int, number: int) -> Plan:
    return (draw if number < FIRST_NUMBER else draw_faulty)(population, seed, number)


def _judge(population: str, seed: int, number: int) -> BenchFinding | FaultFinding:
    plan = _plan(population, seed, number)
    return judge(plan) if number < FIRST_NUMBER else judge_faulty(plan)


if __name__ == "__main__":
    main()
