"""`boretight calibrate transducers`: both of them against a reference gauge, by a guided run or a file of points."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np

from daq.calibrate.points import COUNT, PRESSURE, VOLTS, Table, read_table
from daq.calibrate.transducer import COMFORTABLE, ChannelResult, calibrate_channel, ratio_to_gauge
from daq.calibration_files import Gauge, TransducersRecord
from daq.cli.live_ticks import LiveTicks, wait_until_still
from daq.cli.output import print_table
from daq.cli.workshop import Board, Notes, Workshop, board_name, fine, open_workshop
from daq.errors import DataError, UsageError
from daq.measure.calibration import to_volts
from daq.measure.uncertainty import rectangular
from daq.records import Floats, ReferenceMode

MONTH = timedelta(days=365.25 / 12)
GUIDE = """\
Both transducers and the reference gauge on one pressure: outlet blocked, air open, gauge beside the outlet.
Start vented, go up over at least five pressures to near the full range, and down again; twice is better.
At each: wait until it stands, type what the gauge reads, Enter. `undo` drops the last point, `done` ends."""


@dataclass(frozen=True, slots=True)
class Reference:
    """The reference gauge as the command line names it: `expanded_u` as its certificate states it (k = 2), or the
    half-width `limit` of its class; in the unit of the display."""

    name: str
    expanded_u: float | None = None
    limit: float | None = None

    def gauge(self, pa: float) -> Gauge:
        if (self.expanded_u is None) == (self.limit is None):
            raise UsageError(
                "Say how good the reference gauge is, in one way.",
                "Give --reference-u (expanded uncertainty of its certificate, k = 2) or --reference-limit (its class).",
            )
        u = self.expanded_u / 2 if self.expanded_u is not None else rectangular(self.limit or 0.0)
        if not (math.isfinite(u) and u > 0):
            raise UsageError("The uncertainty of the reference gauge must be above zero.", "No gauge is exact.")
        return Gauge(name=self.name, u_pa=u * pa)


@dataclass(frozen=True, slots=True)
class Points:
    """Reference pressures, Pa, and the volts of both channels, in the order in which they were taken."""

    reference_pa: Floats
    supply_v: Floats
    cylinder_v: Floats
    board: str = ""


def transducers(
    config_path: Path | None,
    file: Path | None,
    bits: int | None,
    reference: Reference,
    board: Board,
    notes: Notes,
    due_months: float,
    as_json: bool,
) -> None:
    """Fits both channels and keeps the record; whatever is refused is raised, and nothing is kept then."""
    shop = open_workshop(config_path, as_json)
    gauge = reference.gauge(shop.unit.pa)
    if file is not None:
        points = points_of(read_points(file), bits, shop.calibration.reference_v)
    else:
        with shop.live(board) as live:
            points = guided(live, shop, input)
    record = transducers_record(shop, points, gauge, notes, due_months * MONTH)
    show_transducers(record, shop)
    shop.keep(record)
    if shop.calibration.pairing is not None:
        shop.say("The lines are new, so the pairing is void. Next: boretight calibrate pairing")


def transducers_record(shop: Workshop, points: Points, gauge: Gauge, notes: Notes, due: timedelta) -> TransducersRecord:
    made = shop.made(notes, due, points.board)
    sheets, before = shop.config.calibration_record(), shop.shelf().newest(TransducersRecord)
    results = [
        calibrate_channel(name, points.reference_pa, volts, sheet, gauge.u_pa, made.utc.timestamp(), old)
        for name, volts, sheet, old in (
            ("supply", points.supply_v, sheets.supply, before.supply.channel if before else None),
            ("cylinder", points.cylinder_v, sheets.cylinder, before.cylinder.channel if before else None),
        )
    ]
    return TransducersRecord(
        made=made, previous=before.id if before else "", gauge=gauge, reference_v=sheets.reference_v,
        reference_pa=tuple(points.reference_pa.tolist()), supply_v=tuple(points.supply_v.tolist()),
        cylinder_v=tuple(points.cylinder_v.tolist()), supply=results[0], cylinder=results[1],
    )  # fmt: skip


def guided(live: LiveTicks, shop: Workshop, ask: Callable[[str], str]) -> Points:
    """Asks for the gauge at each pressure until `done`. `ask` is `input`; its end of file means done."""
    shop.say(GUIDE)
    taken: list[tuple[float, float, float]] = []
    while (text := _answer(ask, f"{len(taken) + 1}: reference gauge reads [{shop.unit.value}]: ")) != "done":
        if text == "undo":
            shop.say(f"Point {len(taken)} is dropped." if taken else "There is no point to drop.")
            del taken[-1:]
        elif (reading := _number(text)) is None:
            shop.say("That is no number. Type what the gauge reads, `undo` or `done`.")
        elif (still := wait_until_still(live, shop.lines, shop.instrument.set_point_pa)) is None:
            shop.say("It has not come to rest for 15 s. Is there a leak? Wait, read the gauge again and type it.")
        else:
            taken.append((reading * shop.unit.pa, still.supply_v, still.cylinder_v))
            shop.say(f"   supply {still.supply_v:.4f} V, cylinder {still.cylinder_v:.4f} V")
    if not taken:
        raise DataError("No point was taken.", "Start again when gauge and air are ready. The calibration stays.")
    reference_pa, supply_v, cylinder_v = np.array(taken).T
    return Points(reference_pa, supply_v, cylinder_v, board_name(live.board))


def _answer(ask: Callable[[str], str], prompt: str) -> str:
    try:
        return ask(prompt).strip().lower()
    except EOFError:
        return "done"


def _number(text: str) -> float | None:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def points_of(table: Table, bits: int | None, reference_v: float) -> Points:
    """Columns `reference_<pressure>`, then both channels in volts or counts; DataError says which units there are."""
    supply_v, cylinder_v = (_volts(table, name, bits, reference_v) for name in ("supply", "cylinder"))
    return Points(table.need("reference", PRESSURE), supply_v, cylinder_v)


def _volts(table: Table, channel: str, bits: int | None, reference_v: float) -> Floats:
    counts = table.take(channel, COUNT)
    if counts is None:
        return table.need(channel, VOLTS)
    if bits is None:
        raise UsageError("The points are in counts.", "Say with --bits how many bits the converter has.")
    sensor_supply = table.take("sensor_supply", COUNT)
    mode = ReferenceMode.RATIOMETRIC if sensor_supply is None else ReferenceMode.ABSOLUTE
    return to_volts(counts, np.zeros(1) if sensor_supply is None else sensor_supply, bits, mode, reference_v)


def read_points(file: Path) -> Table:
    try:
        return read_table(file.read_text(encoding="utf-8"), str(file))
    except (OSError, UnicodeDecodeError) as error:
        raise DataError(f"{file} cannot be read.", "Name a text file, CSV or TOML.", str(error)) from error


def show_transducers(record: TransducersRecord, shop: Workshop) -> None:
    if shop.as_json:
        return
    both = (record.supply, record.cylinder)
    rows = [[name, *(value(channel) for channel in both)] for name, value in _said_of_channel(shop)]
    print_table(f"Transducers against {record.gauge.name}", ["", "supply", "cylinder"], rows)
    worst = min(ratio_to_gauge(record.gauge.u_pa, channel.channel) for channel in both)
    if worst < COMFORTABLE:
        shop.say(f"The gauge is only {worst:.1f} times better than the data sheet; {COMFORTABLE:.0f} times is usual.")
    if all(record.supply.rising):
        shop.say("Run down as well as up next time: hysteresis is not known now.")
    if record.supply.repeatability_pa is None:
        shop.say("Run through it twice next time: repeatability is not known now.")
    shop.say(f"Due again {record.made.due_utc:%Y-%m-%d}.")


def _said_of_channel(shop: Workshop) -> list[tuple[str, Callable[[ChannelResult], str]]]:
    unit = shop.unit

    def of_span(pa: float | None, result: ChannelResult) -> str:
        return "-" if pa is None else f"{fine(unit, pa)} ({100 * pa / result.span_pa:.3f} %)"

    return [
        ("zero", lambda r: f"{r.channel.zero_v:.5f} V"),
        ("sensitivity", lambda r: f"{r.channel.pa_per_v / unit.pa:.5f} {unit.value}/V"),
        ("u of zero", lambda r: fine(unit, r.channel.u_zero_pa or 0.0)),
        ("u of span, gauge included", lambda r: f"{100 * r.channel.u_span:.3f} %"),
        ("hysteresis", lambda r: of_span(r.hysteresis_pa, r)),
        ("repeatability", lambda r: of_span(r.repeatability_pa, r)),
        ("off the best line", lambda r: of_span(r.best_line_pa, r)),
        ("off the line through the ends", lambda r: of_span(r.terminal_pa, r)),
        ("since the record before", lambda r: "-" if r.drift is None else fine(unit, r.drift.most_pa)),
        ("drift allowed a year", lambda r: fine(unit, r.channel.drift_pa_per_year)),
    ]
