"""The sections on engine, bench, calibration, uncertainty, cautions, and how the figures were got."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from daq.measure.leakage import restrictor
from daq.planning import misfits
from daq.procedure.cautions import before_air
from daq.procedure.engine import EngineProfile
from daq.records import Calibration, CylinderDone, Instrument, Limit, StableReading
from daq.report.budget_table import budget_rows, combine
from daq.report.engine import wording as words
from daq.report.engine.document import Cell, Facts, Gallery, Items, Paragraph, Section, Table, Tone
from daq.report.engine.judged import Judged, at_set
from daq.report.engine.trace_chart import trace_chart
from daq.report.test_record import TestRecord
from daq.report.traces import Trace
from daq.units import G_PER_KG, M_PER_INCH, MM2_PER_M2, ZERO_CELSIUS_K, PressureUnit

_KM_PER_MILE = 1.609344
_TWO_SIDED = 1.959963984540054


# ---- engine and conditions


def conditions(test: Judged, unit: PressureUnit) -> Section:
    record, instrument = test.record, test.record.instrument
    air_c = instrument.gas_temperature_k - ZERO_CELSIUS_K
    set_point, band = unit.show(instrument.set_point_pa), unit.show(instrument.supply_band_pa)
    ended = f"{record.ended_utc:%Y-%m-%d %H:%M:%S} UTC" if record.ended_utc else words.NOT_ENDED
    pairs = [
        (words.ENGINE_WAS, words.TEMPERATURES[record.plan.temperature]),
        (words.RUN, _run(record.plan.about)),
        (words.BORE_STROKE, _bore_stroke(record.profile)),
        (words.SET_POINT, words.BAND.format(pressure=set_point, band=band)),
        (words.RESTRICTOR, _restrictor(instrument)),
        (words.BAROMETER, words.AS_CONFIGURED.format(value=_barometer(instrument))),
        (words.AIR_TEMPERATURE, words.AS_CONFIGURED.format(value=f"{air_c:.0f} °C ({air_c * 1.8 + 32:.0f} °F)")),
        (words.STARTED, f"{record.started_utc:%Y-%m-%d %H:%M:%S} UTC"),
        (words.ENDED, ended),
        *((words.MISFIT, misfit) for misfit in misfits(record.profile, instrument)),
        (words.NOTE, str(record.plan.about.get("note") or "")),
        (words.NOTE, record.profile.notes),
    ]
    return Section(words.CONDITIONS, (Facts(tuple((word, said) for word, said in pairs if said)),))


def _run(about: Any) -> str:
    hours, km = about.get("hours"), about.get("distance_km")
    said = [words.HOURS.format(hours=hours)] if hours is not None else []
    said += [words.DISTANCE.format(km=km, miles=km / _KM_PER_MILE)] if km is not None else []
    return ", ".join(said) or words.NOT_SAID


def _bore_stroke(profile: EngineProfile) -> str:
    lengths = [length(each) if each else words.NOT_KNOWN for each in (profile.bore_m, profile.stroke_m)]
    return " × ".join(lengths) if profile.bore_m or profile.stroke_m else words.NOT_KNOWN


def length(length_m: float) -> str:
    return f"{length_m * 1e3:.4g} mm ({length_m / M_PER_INCH:.3f} in)"


def _restrictor(instrument: Instrument) -> str:
    how = words.ASSUMED if "discharge_coefficient" in instrument.assumed else words.CALIBRATED
    said = length(instrument.restrictor_diameter_m)
    return words.RESTRICTOR_SAYS.format(length=said, cd=instrument.discharge_coefficient, how=how)


def _barometer(instrument: Instrument) -> str:
    return f"{instrument.atmosphere_pa / 1e3:.2f} kPa ({instrument.atmosphere_pa / 3386.389:.2f} inHg)"


# ---- calibration


def calibration(test: Judged, unit: PressureUnit) -> Section:
    record, found = test.record, test.record.calibration
    if found is None:
        pairs = [(words.CALIBRATION_ID, words.NOT_DESCRIBED)]
    else:
        pairs = [
            (words.CALIBRATION_ID, words.ID_ORIGIN.format(id=found.calibration_id, origin=found.origin)),
            (words.LINES, _lines(found, record, unit)),
            (words.PAIRING, _pairing(found, record, unit)),
            (words.RESTRICTOR_MADE, _jets(found, record)),
        ]
    where = [(words.BENCH_IS, record.bench), (words.SOFTWARE, record.software), (words.RAW_LOG, record.raw_log)]
    return Section(words.CALIBRATION, (Facts(tuple((word, said) for word, said in (*pairs, *where) if said)),))


def _lines(found: Calibration, record: TestRecord, unit: PressureUnit) -> str:
    supply, cylinder = found.supply, found.cylinder
    if supply.u_zero_pa is None:
        accuracy = 100 * supply.accuracy_pa / supply.full_scale_pa
        full = {"supply": unit.show(supply.full_scale_pa), "cylinder": unit.show(cylinder.full_scale_pa)}
        return words.DATA_SHEET.format(accuracy=accuracy, **full)
    return words.LINES_MADE.format(**_when(supply.made_s, record))


def _pairing(found: Calibration, record: TestRecord, unit: PressureUnit) -> str:
    pairing = found.pairing
    if pairing is None:
        return words.NOT_PAIRED
    offset = f"{pairing.offset_pa / unit.pa:+.{unit.decimals + 2}f} {unit.value}"
    when = _when(pairing.made_s, record)
    return words.PAIRED.format(id=pairing.pairing_id, offset=offset, gain=100 * pairing.gain, **when)


def _jets(found: Calibration, record: TestRecord) -> str:
    instrument, made = record.instrument, found.restrictor
    if made is None:
        return words.NO_JETS.format(cd=instrument.discharge_coefficient, u=instrument.u_discharge_coefficient)
    return words.JETS.format(id=made.restrictor_id, **_when(made.made_s, record))


def _when(made_s: float, record: TestRecord) -> dict[str, str]:
    made = datetime.fromtimestamp(made_s, UTC)
    before_s = (record.started_utc - made).total_seconds()
    said = age(abs(before_s))
    return {"day": f"{made:%Y-%m-%d}", "age": said if before_s >= 0 else words.AFTERWARDS.format(age=said)}


def age(seconds: float) -> str:
    """In the greatest unit that there are two of."""
    fits = [(said, size) for said, size in words.AGES if seconds >= 2 * size]
    said, size = fits[-1] if fits else words.AGES[0]
    return said.format(n=int(seconds / size))


# ---- traces and uncertainty


def courses(traces: Sequence[Trace], unit: PressureUnit) -> Section:
    if not traces:
        return Section(words.TRACES, (Paragraph(words.NO_TRACES),))
    charts = tuple(trace_chart(trace, unit) for trace in traces)
    return Section(words.TRACES, (Paragraph(words.TRACES_NOTE, Tone.SMALL), Gallery(charts)), together=False)


def uncertainty(test: Judged, unit: PressureUnit) -> Section:
    """By the example of the reading that counts most: the worst."""
    readings = [done.after_tap or done.as_found for done in test.counting.values()]
    if not readings:
        return Section(words.UNCERTAINTY, (Paragraph(words.EMPTY_ADVICE),))
    worst = max(readings, key=lambda reading: reading.loss_at_set_pct)
    loss, u = at_set(worst, test.record.instrument)
    blocks = [Paragraph(words.PLAIN_UNCERTAINTY.format(loss=loss, u=u))]
    found = test.record.calibration
    if found is not None and found.pairing is None:
        blocks.append(Paragraph(words.WITHOUT_PAIRING))
    return Section(words.UNCERTAINTY, (*blocks, *_budget(worst, unit)))


def _budget(reading: StableReading, unit: PressureUnit) -> Iterator[Paragraph | Table]:
    if not reading.budget:
        yield Paragraph(words.NO_UNCERTAINTY)
        return
    phase = (words.AFTER_TAPS if reading.phase == "after-tap" else words.AS_FOUND).lower()
    yield Paragraph(words.BUDGET_OF.format(cylinder=reading.cylinder, phase=phase))
    rows = [(row[0], row[1], row[3], row[4]) for row in budget_rows(reading.budget, unit)]
    cells = tuple((Cell(row[0]), *(Cell(each, number=True) for each in row[1:])) for row in rows)
    yield Table((words.COMPONENT, words.STANDARD, words.POINTS, words.PART), cells)
    yield Paragraph(words.COMBINED.format(sentence=combine(reading.budget).sentence()), Tone.SMALL)


# ---- figures, cautions, what was taken back


@dataclass(frozen=True, slots=True)
class _Measure:
    """How small lengths and flows are shown: metric, or as those do who read pressures in psi."""

    name: str
    m: float
    decimals: int
    m3_s: float


_METRIC = _Measure("mm", 1e-3, 2, 1e-3 / 60)
_US = _Measure("in", M_PER_INCH, 3, (12 * M_PER_INCH) ** 3 / 60)


def comparable(test: Judged, unit: PressureUnit) -> Iterator[Section]:
    measure = _US if unit is PressureUnit.PSI else _METRIC
    flow, hole = words.FLOW_ANR[measure.name], words.DIAMETER[measure.name]
    columns = (words.CYLINDER, words.AREA_RATIO, words.LEAK_AREA, hole, words.FLOW, flow, words.REFERENCE_LOSS)
    if rows := tuple(_figures(done, measure) for done in test.counting.values()):
        yield Section(words.COMPARE, (Table(columns, rows), Paragraph(words.COMPARE_NOTE, Tone.SMALL)))


def _figures(done: CylinderDone, measure: _Measure) -> tuple[Cell, ...]:
    reading = done.after_tap or done.as_found
    values = (
        _with_u(reading.area_ratio, reading.u_area_ratio, 3),
        _with_u(reading.leak_area_m2 * MM2_PER_M2, reading.u_leak_area_m2 * MM2_PER_M2, 3),
        f"{reading.leak_diameter_m / measure.m:.{measure.decimals}f}",
        _with_u(reading.flow_kg_s * G_PER_KG, reading.u_flow_kg_s * G_PER_KG, 3),
        f"{reading.flow_anr_m3_s / measure.m3_s:.{measure.decimals}f}",
        _with_u(reading.reference_loss_pct, reading.u_reference_loss_pct, 1),
    )
    return (Cell(str(done.cylinder)), *(Cell(value, number=True) for value in values))


def _with_u(value: float, u: float, decimals: int) -> str:
    """With the half-width of the 95 % interval, where there is one."""
    if math.isnan(value):
        return words.NOT_KNOWN
    return f"{value:.{decimals}f}" + ("" if math.isnan(u) else f" ±{_TWO_SIDED * u:.{decimals}f}")


def cautions(record: TestRecord) -> Section:
    who = words.ACKNOWLEDGED.format(who=record.acknowledged) if record.acknowledged else words.NOT_ACKNOWLEDGED
    told = tuple(caution.text for caution in before_air(record.profile.certified))
    return Section(words.CAUTIONS, (Items(told, Tone.SMALL), Paragraph(who, Tone.STRONG)))


def taken_back(record: TestRecord) -> Section:
    said = (*_withdrawn(record), *_broken_off(record))
    return Section(words.TAKEN_BACK, (Items(said) if said else Paragraph(words.NOTHING_TAKEN_BACK),))


def _withdrawn(record: TestRecord) -> Iterable[str]:
    for each in record.attempts:
        if not each.counts:
            done, why = each.done, words.BECAUSE.format(why=each.withdrawn_why) if each.withdrawn_why else ""
            losses = [reading.loss_at_set_pct for reading in (done.as_found, done.after_tap) if reading]
            yield words.WITHDRAWN.format(
                cylinder=done.cylinder, attempt=done.attempt, losses=_losses(losses), why=why.rstrip(".")
            )


def _broken_off(record: TestRecord) -> Iterable[str]:
    for each in record.broken_off:
        withdrawn = words.AND_WITHDRAWN if each.withdrawn else ""
        yield words.BROKEN_OFF.format(
            cylinder=each.cylinder, attempt=each.attempt, losses=_losses(each.losses_pct), withdrawn=withdrawn
        )


def _losses(losses: Iterable[float]) -> str:
    return " → ".join(f"{loss:.2f}" for loss in losses)


# ---- how


def how(test: Judged, unit: PressureUnit) -> Section:
    instrument = test.record.instrument
    pairs = (
        (test.stated.sound_to, test.limits.sound_to),
        (test.stated.investigate_from, test.limits.investigate_from),
    )
    limits = "; ".join(dict.fromkeys(_limit(stated, here, unit) for stated, here in pairs))
    area = restrictor(instrument).effective_area_m2 * MM2_PER_M2
    bore, cd = length(instrument.restrictor_diameter_m), instrument.discharge_coefficient
    said = tuple(formula.format(area=area, cd=cd, bore=bore, limits=limits) for formula in words.FORMULAS)
    return Section(words.HOW, (Items(said, Tone.SMALL),))


def _limit(stated: Limit, here: Limit, unit: PressureUnit) -> str:
    return words.LIMIT_CARRIED.format(
        name=stated.name,
        stated=stated.loss_pct,
        supply=unit.show(stated.set_point_pa),
        bore=length(stated.restrictor_diameter_m),
        source=stated.source,
        here=here.loss_pct,
    )
