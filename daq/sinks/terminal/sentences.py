"""One plain sentence for each event that a person wants to know of."""

from __future__ import annotations

from daq.records import (
    AirChange,
    AirState,
    BadLines,
    BoardFault,
    CylinderDone,
    Event,
    Gap,
    LinkChange,
    Marked,
    Restarted,
    StableReading,
    SupplyChange,
    SupplyState,
    Tap,
    TestDone,
)
from daq.units import PressureUnit

_PHASE_WORDS = {"as-found": "as found", "after-tap": "after tap"}


def sentence(event: Event, unit: PressureUnit) -> str | None:
    """None for what has no news in it (the state of the test shows in the live face)."""
    match event:
        case StableReading():
            return _reading(event, unit)
        case Tap():
            return f"Tap: the cylinder fell by {unit.show(event.depth_pa)} and recovered in {event.recovery_s:.1f} s"
        case CylinderDone():
            return f"CYLINDER {event.cylinder} DONE: {_result(event)}"
        case TestDone():
            return f"TEST DONE: {len(event.cylinders)} cylinders of {event.engine}"
        case SupplyChange(state=SupplyState.LOST):
            return f"Supply lost ({event.reason}) at {unit.show(event.supply_gauge_pa)}"
        case SupplyChange():
            return f"Supply holds {unit.show(event.supply_gauge_pa)}"
        case AirChange():
            return "Air is on" if event.state is AirState.ON else "Vented"
        case _:
            return _line_sentence(event)


def _line_sentence(event: Event) -> str | None:
    match event:
        case LinkChange(up=True, board=board) if board is not None:
            who = " ".join(part for part in (board.maker, board.model, board.serial) if part)
            return f"Board on the line: {who} ({board.bits} bit)" + (f". {event.reason}" if event.reason else "")
        case LinkChange():
            return f"Line lost: {event.reason}"
        case Gap():
            return f"{event.missing} samples were lost on the line"
        case BadLines():
            reasons = ", ".join(f"{count} {reason}" for reason, count in event.counts.items())
            return f"Damaged lines dropped: {reasons}"
        case Restarted():
            return f"The board restarted ({event.cause})"
        case BoardFault():
            return f"Board: {event.fault}. {event.detail}"
        case Marked():
            return f"Mark: {event.kind} {event.text}".rstrip()
        case _:
            return None


def _reading(reading: StableReading, unit: PressureUnit) -> str:
    where = f"CYLINDER {reading.cylinder} {_PHASE_WORDS.get(reading.phase, '')}: " if reading.cylinder else ""
    return (
        f"{where}{reading.loss_at_set_pct:.1f} % +-{2 * reading.u_loss_pct:.1f} at the set point, stable "
        f"(supply {unit.show(reading.supply_gauge_pa)}, cylinder {unit.show(reading.cylinder_gauge_pa)})"
    )


def _result(done: CylinderDone) -> str:
    text = f"{done.as_found.loss_at_set_pct:.1f} % as found"
    if done.after_tap is not None:
        text += f", {done.after_tap.loss_at_set_pct:.1f} % after {done.taps} tap{'s' if done.taps > 1 else ''}"
    return text
