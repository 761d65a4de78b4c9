"""`boretight calibrate pairing`: outlet blocked, the user turns the regulator, the rest goes by itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from daq.calibrate.pairing import (
    change_pa,
    enough,
    expanded_loss_pct,
    flow_suspected,
    pair,
    refuse_fall,
    refuse_flow,
)
from daq.calibrate.plateaus import Plateau, PlateauFinder
from daq.calibration_files import PairingRecord, lines_id
from daq.cli.output import print_table
from daq.cli.workshop import Board, Notes, Workshop, board_name, fine, open_workshop
from daq.measure.calibration import pressures, resolution_pa
from daq.records import Board as BoardRecord
from daq.records import Ticks

SHOWN_LOSS = 10.0
GUIDE = """\
Block the outlet with a plug and open the air. Then turn the regulator from low to the set point, and stop two or
three seconds at each of {wanted} or more pressures; all else goes by itself. Ctrl-C leaves everything as it was.
The plug and every joint must be tight: a leak that empties the hose in a few seconds is a point of loss."""


def pairing(config_path: Path | None, board: Board, wanted: int, notes: Notes, due_days: float, as_json: bool) -> None:
    """Waits for the plateaus, pairs and keeps the record; whatever is refused is raised, and nothing is kept then."""
    shop = open_workshop(config_path, as_json)
    with shop.live(board) as live:
        shop.say(GUIDE.format(wanted=wanted))
        plateaus = collect(live, lambda: live.board, shop, wanted)
        record = pairing_record(shop, plateaus, live.board, notes, timedelta(days=due_days))
    show_pairing(record, shop)
    if board.scenario is not None and config_path is None:
        shop.say("A simulated board: nothing is kept, lest it count for yours. With a --config of its own it would be.")
    else:
        shop.keep(record)


def collect(ticks: Iterable[Ticks], board: Callable[[], BoardRecord], shop: Workshop, wanted: int) -> list[Plateau]:
    """The plateaus, as soon as they are enough, or all there are when the line ends. DataError for flow and leaks."""
    set_point_pa = shop.instrument.set_point_pa
    finder = PlateauFinder(set_point_pa)
    good: list[Plateau] = []
    doubtful: list[Plateau] = []
    for block in ticks:
        rows = pressures(block, board(), shop.lines)
        for plateau in finder.feed(rows.t_s, rows.supply_gauge_pa, rows.cylinder_gauge_pa):
            suspicion = flow_suspected(plateau, shop.lines)
            (doubtful if suspicion else good).append(plateau)
            shop.say(_said_of_plateau(plateau, len(good), suspicion, shop))
            refuse_flow(doubtful)
        refuse_fall(finder.falling_pa_per_s)
        if enough(good, set_point_pa, wanted):
            break
    return good


def _said_of_plateau(plateau: Plateau, number: int, suspicion: str, shop: Workshop) -> str:
    at, difference = shop.unit.show(plateau.supply_pa), fine(shop.unit, plateau.difference_pa, sign=True)
    if suspicion:
        return f"   at {at} {suspicion} ({difference}). Is the air open and the outlet blocked?"
    return f"{number}: at {at} the cylinder side reads {difference} against the supply"


def pairing_record(
    shop: Workshop, plateaus: list[Plateau], board: BoardRecord, notes: Notes, due: timedelta
) -> PairingRecord:
    lines, instrument = shop.lines, shop.instrument
    before = shop.shelf().newest(PairingRecord)
    if before is not None and before.lines_id != lines_id(lines):
        before = None
    made = shop.made(notes, due, board_name(board))
    at_s, count_pa = made.utc.timestamp(), resolution_pa(board, lines)
    old = before.result.pairing if before else None
    result = pair(plateaus, lines, instrument.set_point_pa, at_s, count_pa, old)
    new = result.pairing
    return PairingRecord(
        made=made, previous=before.id if before else "", lines_id=lines_id(lines), set_point_pa=instrument.set_point_pa,
        result=result,
        before_pct=expanded_loss_pct(lines, instrument, SHOWN_LOSS, at_s, count_pa),
        after_pct=expanded_loss_pct(replace(lines, pairing=new), instrument, SHOWN_LOSS, at_s, count_pa),
        change_pa=change_pa(old, new.offset_pa, new.gain, instrument.set_point_pa) if old else None,
    )  # fmt: skip


def show_pairing(record: PairingRecord, shop: Workshop) -> None:
    if shop.as_json:
        return
    found, unit = record.result.pairing, shop.unit
    at_set_pa = found.offset_pa + found.gain * record.set_point_pa
    rows = [
        ["offset", fine(unit, found.offset_pa, sign=True), fine(unit, found.u_offset_pa)],
        ["gain", f"{100 * found.gain:+.3f} %", f"{100 * found.u_gain:.3f} %"],
        ["at the set point", fine(unit, at_set_pa, sign=True), ""],
        ["left beside the line", "", fine(unit, found.residual_pa)],
    ]
    print_table("Cylinder - supply, at zero flow", ["", "difference", "standard u"], rows)
    if record.change_pa is not None:
        shop.say(
            f"Changed by {fine(unit, record.change_pa, sign=True)} at the set point since pairing {record.previous}."
        )
    if record.after_pct > record.before_pct:
        shop.say(
            "Both channels were calibrated so lately that pairing buys nothing yet; it guards against their drift."
        )
    aged = replace(shop.lines, pairing=found)
    later = expanded_loss_pct(aged, shop.instrument, SHOWN_LOSS, record.made.due_utc.timestamp())
    shop.say(
        f"A loss of {SHOWN_LOSS:.0f} % is now known to +-{record.after_pct:.2f} points; without pairing it was "
        f"+-{record.before_pct:.2f}.\nIt fades: +-{later:.2f} on {record.made.due_utc:%Y-%m-%d}, when it is due again."
    )
