"""From a judged test to the document of its report: head, advice, and the sections in the order of reading."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from daq.procedure.engine import dashed
from daq.procedure.judgements import EngineFacts, EngineVerdict
from daq.procedure.verdict import SURE, Limits, Verdict
from daq.report.engine import bench_sections as bench
from daq.report.engine import wording as words
from daq.report.engine.charts import Bounds, Row, cylinders_chart
from daq.report.engine.document import (
    Advice,
    Cell,
    Chart,
    Document,
    Items,
    Mark,
    Paragraph,
    Section,
    Signatures,
    Table,
    Tone,
)
from daq.report.engine.judged import Interval, Judged, at_set
from daq.report.engine.leak_sections import where_the_air_goes
from daq.report.traces import Trace
from daq.units import PressureUnit

MARKS = {
    Verdict.SOUND: Mark.SOUND,
    Verdict.WATCH: Mark.WATCH,
    Verdict.INVESTIGATE: Mark.INVESTIGATE,
    Verdict.TOO_CLOSE: Mark.UNCLEAR,
}
ENGINE_MARKS = {
    EngineVerdict.SOUND: Mark.SOUND,
    EngineVerdict.WATCH: Mark.WATCH,
    EngineVerdict.INVESTIGATE: Mark.INVESTIGATE,
    EngineVerdict.TOO_CLOSE: Mark.UNCLEAR,
    EngineVerdict.INCOMPLETE: Mark.UNCLEAR,
}


def document(test: Judged, traces: Sequence[Trace], unit: PressureUnit) -> Document:
    """The whole report; pressures in `unit`, lengths in metric and inch."""
    record = test.record
    sections = [
        Section("", (advice(test),)),
        _cylinders(test, unit),
        *_noticed(test),
        where_the_air_goes(test),
        bench.conditions(test, unit),
        bench.calibration(test, unit),
        bench.courses(traces, unit),
        bench.uncertainty(test, unit),
        *bench.comparable(test, unit),
        bench.cautions(record),
        Section(words.CANNOT_JUDGE, (Items(record.profile.cannot_judge),)),
        bench.taken_back(record),
        bench.how(test, unit),
        Section("", (Signatures(words.SIGN),)),
    ]
    return Document(
        kind=words.KIND,
        title=record.profile.name,
        subtitle=_subtitle(test),
        head=_head(test),
        sections=tuple(sections),
        foot=words.FOOT.format(software=record.software or "boretight"),
    )


def _subtitle(test: Judged) -> str:
    profile = test.record.profile
    layout = "" if profile.layout.value in ("other", "single") else f"{profile.layout.value}, "
    return words.SUBTITLE.format(
        layout=layout,
        cylinders=profile.cylinders,
        s="" if profile.cylinders == 1 else "s",
        strokes=profile.strokes,
        order=dashed(profile.firing_order),
    )


def _head(test: Judged) -> tuple[tuple[str, str], ...]:
    record = test.record
    by = str(record.plan.about.get("by") or "")
    pairs = [
        (words.HEAD_TEST, record.name),
        (words.HEAD_DATE, f"{record.started_utc:%Y-%m-%d %H:%M} UTC"),
        (words.HEAD_BENCH, record.bench),
    ]
    return (*pairs, (words.HEAD_BY, by)) if by else tuple(pairs)


# ---- advice


def advice(test: Judged) -> Advice:
    """The one thing to do, and how sure that is."""
    if test.judgement is None:
        return Advice(words.EMPTY_WORD, Mark.UNCLEAR, words.EMPTY_ADVICE, tuple(_beside(test)))
    facts = test.judgement.facts
    below = (_certainty(facts), against(test.limits), *_beside(test))
    return Advice(words.ENGINE_WORD[facts.verdict], ENGINE_MARKS[facts.verdict], test.judgement.advice, below)


def _certainty(facts: EngineFacts) -> str:
    probability = facts.probability
    if facts.verdict is EngineVerdict.INCOMPLETE:
        likeliest = max(facts.chances, key=facts.chances.__getitem__)
        return words.CHANCE_OF_THE_TESTED.format(word=likeliest.value, chance=chance(probability))
    return (words.CERTAINTY if probability >= SURE else words.LIKELIEST).format(chance=chance(probability))


def chance(probability: float) -> str:
    """Never rounded up to certainty."""
    return "> 99.9 %" if probability > 0.999 else f"{100 * probability - 0.05:.1f} %"


def against(limits: Limits) -> str:
    to, start = limits.sound_to.loss_pct, limits.investigate_from.loss_pct
    beyond = "" if to == start else words.FROM_ON.format(loss=start)
    return words.AGAINST.format(name=limits.name, to=words.SOUND_UP_TO.format(loss=to), start=beyond)


def _beside(test: Judged) -> Iterable[str]:
    if test.record.ended_utc is None:
        yield words.STILL_OPEN
    if not test.record.acknowledged:
        yield words.NOT_ACKNOWLEDGED


# ---- cylinders


def _cylinders(test: Judged, unit: PressureUnit) -> Section:
    note = words.LOSS_NOTE.format(set_point=unit.show(test.record.instrument.set_point_pa))
    return Section(words.CYLINDERS, (chart(test), cylinders_table(test), Paragraph(note, Tone.SMALL)), together=False)


def chart(test: Judged) -> Chart:
    bounds = Bounds(test.limits.sound_to.loss_pct, test.limits.investigate_from.loss_pct)
    return cylinders_chart([_row(test, number) for number in sorted(test.record.profile.firing_order)], bounds)


def headline(test: Judged) -> tuple[str, str]:
    """For a chart that stands alone: which engine; which test, and when."""
    record = test.record
    return record.profile.name, words.TEST_OF.format(test=record.name, day=f"{record.started_utc:%Y-%m-%d}")


def _row(test: Judged, cylinder: int) -> Row:
    judged, done = test.judgement_of(cylinder), test.counting.get(cylinder)
    if judged is None or done is None:
        return Row(cylinder, None, None, None)
    instrument = test.record.instrument
    after = at_set(done.after_tap, instrument) if done.after_tap else None
    return Row(cylinder, MARKS[judged.judgement.verdict], at_set(done.as_found, instrument), after)


def cylinders_table(test: Judged) -> Table:
    columns = (words.CYLINDER, words.VERDICT, words.CHANCE, words.AS_FOUND_PCT, words.AFTER_TAPS_PCT, words.TAPS)
    return Table(columns, tuple(_cells(test, number) for number in sorted(test.record.profile.firing_order)))


def _cells(test: Judged, cylinder: int) -> tuple[Cell, ...]:
    row, judged = _row(test, cylinder), test.judgement_of(cylinder)
    if judged is None or row.as_found is None:
        why = words.SKIPPED if cylinder in test.record.skipped else words.NOT_TESTED
        return (Cell(str(cylinder)), Cell(why), *(Cell("", number=True),) * 3, Cell(""))
    word, taps = judged.judgement, judged.taps
    return (
        Cell(str(cylinder)),
        Cell(words.VERDICTS[word.verdict], MARKS[word.verdict]),
        Cell(chance(word.probability), number=True),
        Cell(_interval(row.as_found), number=True),
        Cell(_interval(row.after_taps) if row.after_taps else "", number=True),
        Cell(words.TAPS_DID[taps.verdict].format(n=taps.taps) if taps else ""),
    )


def _interval(interval: Interval) -> str:
    loss, u = interval
    return f"{loss:.2f} ±{u:.2f}"


def _noticed(test: Judged) -> Iterable[Section]:
    if test.judgement and test.judgement.notes:
        yield Section(words.NOTICED, (Items(test.judgement.notes),))
