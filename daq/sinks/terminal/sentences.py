"""One plain sentence for each event that a person wants to know of."""

from __future__ import annotations

from functools import singledispatch
from typing import Any

from daq.procedure.verdict import Verdict
from daq.records import (
    AirChange,
    AirState,
    BadLines,
    BoardFault,
    Cue,
    CueLevel,
    CylinderDone,
    CylinderJudged,
    Event,
    Expectation,
    Fault,
    Finding,
    Gap,
    LinkChange,
    Marked,
    MarkKind,
    Restarted,
    SoftStep,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TapEffect,
    TapVerdict,
    TestDone,
    TestStarted,
    Withdrawn,
    ZeroCheck,
)
from daq.units import PressureUnit

_PHASE_WORDS = {"as-found": "as found", "after-tap": "after tap"}
_EFFECT_WORDS = {
    TapVerdict.IMPROVED: "BETTER",
    TapVerdict.NO_CHANGE: "NO CHANGE",
    TapVerdict.WORSE: "WORSE",
    TapVerdict.CANNOT_TELL: "CANNOT TELL",
}
_FINE_PCT = 0.3
"""An interval narrower than this is worth a second digit."""


def sentence(event: Event, unit: PressureUnit) -> str | None:
    """None for what has no news in it (the state of the test shows in the live face)."""
    return _say(event, unit)


@singledispatch
def _say(event: Any, unit: PressureUnit) -> str | None:
    return None


@_say.register
def _reading(event: StableReading, unit: PressureUnit) -> str:
    where = f"CYLINDER {event.cylinder} {_PHASE_WORDS.get(event.phase, '')}: " if event.cylinder else ""
    half_width_pct = event.half_width_pct
    digits = 1 if half_width_pct >= _FINE_PCT else 2
    return (
        f"{where}{event.loss_at_set_pct:.{digits}f} % +-{half_width_pct:.{digits}f} at the set point, stable "
        f"(supply {unit.show(event.supply_gauge_pa)}, cylinder {unit.show(event.cylinder_gauge_pa)})"
    )


@_say.register
def _tap(event: Tap, unit: PressureUnit) -> str:
    return f"Tap: the cylinder fell by {unit.show(event.depth_pa)} and recovered in {event.recovery_s:.1f} s"


@_say.register
def _tap_effect(event: TapEffect, unit: PressureUnit) -> str:
    """The change counts up for a greater loss, as the number itself does."""
    change = f"{event.change_pct:+.2f} points +-{2 * event.u_change_pct:.2f}"
    return f"{_EFFECT_WORDS[event.verdict]} after {_taps(event.taps)}: {change} (probability {event.probability:.0%})"


@_say.register
def _cylinder_done(event: CylinderDone, unit: PressureUnit) -> str:
    text = f"CYLINDER {event.cylinder} DONE: {event.as_found.loss_at_set_pct:.1f} % as found"
    if event.after_tap is not None:
        text += f", {event.after_tap.loss_at_set_pct:.1f} % after {_taps(event.taps)}"
    return text


@_say.register
def _cylinder_judged(event: CylinderJudged, unit: PressureUnit) -> str | None:
    """That nothing counts any more is told by what was taken back; where it is too close to call, no chance is worth
    a word."""
    found = event.counts
    if found is None:
        return None
    when = "after taps" if event.after_tap else "as found"
    chance = "" if found.verdict == Verdict.TOO_CLOSE else f" (probability {found.probability:.0%})"
    return f"CYLINDER {event.cylinder} {when}: {found.verdict.upper()}{chance}"


@_say.register
def _test_done(event: TestDone, unit: PressureUnit) -> str:
    text = f"TEST {'DONE' if event.complete else 'ENDED'}: {len(event.cylinders)} cylinders of {event.engine}"
    return f"{text}, left out: {', '.join(map(str, event.skipped))}" if event.skipped else text


@_say.register
def _test_started(event: TestStarted, unit: PressureUnit) -> str:
    return f"TEST {event.test} of {event.engine}"


@_say.register
def _soft_step(event: SoftStep, unit: PressureUnit) -> str:
    return f"Soft step: the cylinder stands at {unit.show(event.cylinder_gauge_pa)} and nothing moves"


@_say.register
def _finding(event: Finding, unit: PressureUnit) -> str:
    hole = f" {event.neighbour}" if event.neighbour else ""
    note = f" ({event.note})" if event.note else ""
    return f"CYLINDER {event.cylinder}, heard at {event.place}{hole}: {event.strength}{note}"


@_say.register
def _withdrawn(event: Withdrawn, unit: PressureUnit) -> str:
    return f"CYLINDER {event.cylinder}: {event.what} {event.number} does not count any more ({event.reason})"


@_say.register
def _cue(event: Cue, unit: PressureUnit) -> str | None:
    """What is to be done or minded; the news are told by the events themselves."""
    return None if event.level is CueLevel.NEWS or event.cue == "fault" else f">> {event.text}"


@_say.register
def _expectation(event: Expectation, unit: PressureUnit) -> str:
    return f"Filling: expect {event.loss_pct:.1f} % ({event.low_pct:.1f} to {event.high_pct:.1f}), not stable yet"


@_say.register
def _fault(event: Fault, unit: PressureUnit) -> str:
    return f"Over: {event.fault}. {event.seen}" if event.over else f"LOOK: {event.fault}. {event.seen} {event.todo}"


@_say.register
def _zero_check(event: ZeroCheck, unit: PressureUnit) -> str:
    return f"Zero {'adjusted' if event.adjusted else 'NOT adjusted'}: {event.reason}"


@_say.register
def _supply(event: SupplyChange, unit: PressureUnit) -> str:
    if event.state is SupplyState.LOST:
        return f"Supply lost ({event.reason}) at {unit.show(event.supply_gauge_pa)}"
    return f"Supply holds {unit.show(event.supply_gauge_pa)}"


@_say.register
def _air(event: AirChange, unit: PressureUnit) -> str:
    return "Air is on" if event.state is AirState.ON else "Vented"


@_say.register
def _link(event: LinkChange, unit: PressureUnit) -> str:
    if not event.up or event.board is None:
        return "Line closed" if event.reason == "stopped" else f"Line lost: {event.reason}"
    who = " ".join(part for part in (event.board.maker, event.board.model, event.board.serial) if part)
    bits = f" ({event.board.bits} bit)" if event.board.bits else ""
    return f"Board on the line: {who}{bits}" + (f". {event.reason}" if event.reason else "")


@_say.register
def _gap(event: Gap, unit: PressureUnit) -> str:
    return f"{event.missing} samples were lost on the line"


@_say.register
def _bad_lines(event: BadLines, unit: PressureUnit) -> str:
    return "Damaged lines dropped: " + ", ".join(f"{count} {reason}" for reason, count in event.counts.items())


@_say.register
def _restarted(event: Restarted, unit: PressureUnit) -> str:
    return f"The board restarted ({event.cause})"


@_say.register
def _board_fault(event: BoardFault, unit: PressureUnit) -> str:
    return f"Board: {event.fault}. {event.detail}"


@_say.register
def _mark(event: Marked, unit: PressureUnit) -> str | None:
    """What comes of a plan or of something heard is told by the events that follow."""
    if event.kind in (MarkKind.START, MarkKind.HEARD):
        return None
    return f"Mark: {event.kind} {event.text}".rstrip()


def _taps(count: int) -> str:
    return f"{count} tap{'' if count == 1 else 's'}"
