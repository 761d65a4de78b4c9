"""Where the air goes: for each cylinder that leaks, what is likely, why, what to check next; and what was heard."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from daq.procedure.judgements import CylinderJudgement
from daq.procedure.leak_path import LeakPath, Standing, Suspect
from daq.procedure.leak_rules import HEARD, PLACES, PLUG_OF
from daq.records import Finding, Place
from daq.report.engine import wording as words
from daq.report.engine.document import Block, Items, Paragraph, Section, Tone
from daq.report.engine.judged import Judged
from daq.report.test_record import StoredFinding, TestRecord

SHOWN = 3
"""So many causes, the likeliest first: the rest says little."""


def where_the_air_goes(test: Judged) -> Section:
    judged = test.judgement.facts.cylinders if test.judgement else ()
    blocks: list[Block] = [block for cylinder in judged for block in _of_cylinder(cylinder)]
    if not blocks and judged:
        blocks.append(Paragraph(words.NO_LEAK))
    return Section(words.AIR, (*blocks, *_heard(test.record)), together=False)


def _of_cylinder(judged: CylinderJudgement) -> Iterator[Block]:
    path = judged.leak_path
    if path is None:
        return
    cylinder = words.CYLINDER_N.format(n=judged.cylinder)
    yield Paragraph(words.PATH.format(cylinder=cylinder, sentence=path.sentence), Tone.STRONG)
    if reasons := tuple(_reasons(path)):
        yield Items(reasons, Tone.SMALL)
    yield Paragraph(words.NEXT.format(check=path.next_check))


def _reasons(path: LeakPath) -> Iterable[str]:
    """Those of causes that can be; of the others, what rules the likeliest places out."""
    standing = [suspect for suspect in path.suspects if suspect.standing is not Standing.UNLIKELY]
    for suspect in standing[:SHOWN]:
        yield from _about(suspect)


def _about(suspect: Suspect) -> Iterable[str]:
    for reason in suspect.speaks_for:
        yield words.SPEAKS_FOR.format(cause=suspect.name, reason=reason)
    for reason in suspect.speaks_against:
        yield words.SPEAKS_AGAINST.format(cause=suspect.name, reason=reason)


def _heard(record: TestRecord) -> Iterator[Block]:
    if record.findings:
        yield Paragraph(words.HEARD_TITLE, Tone.STRONG)
        yield Items(tuple(finding_text(each, record) for each in record.findings))


def finding_text(stored: StoredFinding, record: TestRecord) -> str:
    """One finding in words, with when it was added if that was after the test, and whether it counts."""
    finding = stored.finding
    later = record.ended_utc is not None and stored.utc > record.ended_utc
    when = words.ADDED_LATER.format(utc=stored.utc) if later else ""
    return words.FINDING.format(
        cylinder=finding.cylinder,
        said=_said(finding),
        note=words.FINDING_NOTE.format(note=finding.note) if finding.note else "",
        when=when + (words.FINDING_WITHDRAWN if stored.withdrawn_utc else ""),
    )


def _said(finding: Finding) -> str:
    place = PLACES[finding.place]
    if finding.place is Place.NEXT_CYLINDER and finding.neighbour is not None:
        place = PLUG_OF.format(cylinder=finding.neighbour)
    said = HEARD[finding.strength].format(place=place)
    return said[0].lower() + said[1:]
