"""A stored test with its judgement: the limits as this instrument reads them, and what follows from them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from daq.errors import UsageError
from daq.measure.calibration import assumed_calibration
from daq.procedure.engine_advice import judge_engine
from daq.procedure.judgements import Circumstances, CylinderJudgement, EngineJudgement
from daq.procedure.one_supply import taken
from daq.procedure.verdict import COMMON_PRACTICE, Limits, ac_43_13_1b
from daq.records import CylinderDone, Instrument, Limit, StableReading
from daq.report.test_record import TestRecord

COMMON, AC43 = "common", "ac43"
OWN = re.compile(r"(\d{1,2}(?:\.\d+)?),(\d{1,2}(?:\.\d+)?)")
"""Two losses of one's own, as `8,12`."""
_TWO_SIDED = 1.959963984540054
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Judged:
    """`stated` are the limits where they are published, `limits` as they read here; no judgement of an empty test."""

    record: TestRecord
    stated: Limits
    limits: Limits
    judgement: EngineJudgement | None

    @property
    def counting(self) -> dict[int, CylinderDone]:
        """What counts of each cylinder, by its number."""
        newest = {done.cylinder: done for done in self.record.results}
        return dict(sorted(newest.items()))

    def judgement_of(self, cylinder: int) -> CylinderJudgement | None:
        judged = self.judgement.facts.cylinders if self.judgement else ()
        return next((each for each in judged if each.cylinder == cylinder), None)


def judged(record: TestRecord, wanted: str = COMMON) -> Judged:
    """Raises UsageError for limits that there are not, DataError for readings without an uncertainty."""
    stated = stated_limits(wanted, record.profile.bore_m, record.instrument)
    limits = stated.carried(record.instrument, record.calibration or assumed_calibration())
    around = Circumstances(record.plan.temperature.cold, record.heard, record.rocked)
    results = record.results
    found = judge_engine(results, record.profile, limits, record.instrument, around) if results else None
    return Judged(record, stated, limits, found)


def stated_limits(wanted: str, bore_m: float | None, instrument: Instrument) -> Limits:
    """`common`, `ac43` (of a small bore, where the bore is not known), or two losses of one's own on this tester."""
    if wanted == COMMON:
        return COMMON_PRACTICE
    if wanted == AC43:
        return ac_43_13_1b(bore_m or 0.0)
    own = OWN.fullmatch(wanted)
    if own is None:
        raise UsageError(f"There are no limits {wanted!r}.", f"Use {COMMON}, {AC43}, or two losses like 8,12.")
    return Limits(
        "your own", _own("fine up to", own[1], instrument), _own("wants a diagnosis from", own[2], instrument)
    )


def _own(name: str, loss: str, instrument: Instrument) -> Limit:
    return Limit(
        name,
        float(loss),
        instrument.restrictor_diameter_m,
        instrument.discharge_coefficient,
        instrument.set_point_pa,
        "named by who made the report, for this tester",
    )


def at_set(reading: StableReading, instrument: Instrument) -> Interval:
    """The loss at the set point and the half-width of its 95 % interval, percent."""
    found = taken(reading, instrument).reading
    stated = found.expanded_u_loss_pct
    return found.loss_at_set_pct, _TWO_SIDED * found.u_loss_pct if math.isnan(stated) else stated
