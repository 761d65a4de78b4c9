"""The certificate of a calibration: one page of HTML with plots of our own, that stands by itself and prints well."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape

import numpy as np

from daq.calibrate.points import CONDUCTANCE
from daq.calibrate.transducer import ChannelResult
from daq.calibration_files import AnyRecord, Made, PairingRecord, RestrictorRecord, TransducersRecord
from daq.measure import orifice
from daq.measure.budget import budget
from daq.measure.calibration import calibrated_instrument
from daq.records import Calibration, Contribution, Instrument
from daq.report.budget_table import COLUMNS, budget_rows, combine
from daq.report.plot import Series, plot
from daq.units import PressureUnit

SHOWN_LOSS = 10.0
STYLE = """\
body { font: 11pt/1.45 system-ui, sans-serif; max-width: 46rem; margin: 1.5rem auto; padding: 0 1rem; color: #111; }
h1 { font-size: 1.4rem; margin: 0 0 .3rem; } h2 { font-size: 1.1rem; margin: 1.3rem 0 .3rem; }
p { margin: .3rem 0; } table { border-collapse: collapse; font-size: .85rem; margin: .4rem 0; }
th, td { padding: .12rem .7rem .12rem 0; text-align: right; border-bottom: 1px solid #ddd; }
th:first-child, td:first-child { text-align: left; } th { font-weight: 600; }
svg { width: 100%; height: auto; } svg text { font: 11px system-ui, sans-serif; fill: #333; }
.grid { stroke: #e4e4e4; } .zero { stroke: #777; } .line { fill: none; stroke: #14508c; stroke-width: 1.6; }
.full { fill: #14508c; } .hollow { fill: #fff; stroke: #14508c; stroke-width: 1.6; }
.legend, .small { font-size: .8rem; color: #444; } .warn { font-weight: 600; }
section { break-inside: avoid; } @page { margin: 14mm; } @media print { body { margin: 0; max-width: none; } }"""


@dataclass(frozen=True, slots=True)
class Bench:
    """Whose certificate it is, as it stands at `now`."""

    name: str
    instrument: Instrument
    unit: PressureUnit
    now: datetime
    software: str


def certificate(bench: Bench, calibration: Calibration, records: Sequence[AnyRecord]) -> str:
    """A whole document. `records` are those that `calibration` is made of, or the one that is asked for."""
    sections = [_section(record, bench) for record in records]
    if not records:
        sections.append(
            "<section><p>Nothing has been calibrated: the data sheets of the sensors are in force.</p></section>"
        )
    body = "\n".join([_head(bench, calibration), *sections, _budget(bench, calibration)])
    title = f"Calibration of bench {escape(bench.name)}"
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>\n'
        f'<meta name="viewport" content="width=device-width"><style>\n{STYLE}\n</style></head>\n'
        f"<body>\n<h1>{title}</h1>\n{body}\n</body></html>\n"
    )


def _head(bench: Bench, calibration: Calibration) -> str:
    return (
        f"<p>In force on {bench.now:%Y-%m-%d}: calibration <b>{escape(calibration.calibration_id)}</b> "
        f"({escape(calibration.origin)}). Every reading names it.</p>\n"
        f'<p class="small">Written by {escape(bench.software)}. Pressures are gauge. Uncertainties marked u are '
        "standard (k = 1), others are 95 % intervals. This is the owner's own calibration, no accredited one.</p>"
    )


def _section(record: AnyRecord, bench: Bench) -> str:
    match record:
        case TransducersRecord():
            title, body = "Transducers against a reference gauge", _transducers(record, bench.unit)
        case PairingRecord():
            title, body = "Pairing of the two channels at zero flow", _pairing(record, bench.unit)
        case RestrictorRecord():
            title, body = "Restrictor, by known jets", _restrictor(record, bench.instrument)
    return f"<section><h2>{title}</h2>\n{_made(record.made, record.id, bench.now)}\n{body}</section>"


def _made(made: Made, record_id: str, now: datetime) -> str:
    air = "" if made.ambient_c is None else f", air at {made.ambient_c:.0f} °C"
    air += "" if made.ambient_kpa is None else f", barometer {made.ambient_kpa:.1f} kPa"
    board = f", board {escape(made.board)}" if made.board else ""
    due = f"due again {made.due_utc:%Y-%m-%d}"
    due = f'<span class="warn">overdue since {made.due_utc:%Y-%m-%d}</span>' if made.due_utc < now else due
    note = f" {escape(made.note)}" if made.note else ""
    return (
        f"<p>Record {escape(record_id)}, made {made.utc:%Y-%m-%d %H:%M} UTC by {escape(made.by)}{board}{air}; "
        f"{due}.{note}</p>"
    )


# ---- transducers


def _transducers(record: TransducersRecord, unit: PressureUnit) -> str:
    both = (record.supply, record.cylinder)
    rows = [[name, *(_of_channel(result, unit)[name] for result in both)] for name in _of_channel(record.supply, unit)]
    plots = [_residuals(name, record, result, unit) for name, result in zip(("Supply", "Cylinder"), both, strict=True)]
    return (
        f"<p>Reference: {escape(record.gauge.name)}, u = {_fine(record.gauge.u_pa, unit)}; "
        f"{len(record.reference_pa)} points.</p>\n{_table(['', 'supply', 'cylinder'], rows)}\n" + "\n".join(plots)
    )


def _of_channel(result: ChannelResult, unit: PressureUnit) -> dict[str, str]:
    channel = result.channel

    def part(pa: float | None) -> str:
        return "not seen" if pa is None else f"{_fine(pa, unit)} ({100 * pa / result.span_pa:.3f} % of span)"

    drift = "first record" if result.drift is None else f"{_fine(result.drift.most_pa, unit)}"
    return {
        "line": f"({channel.zero_v:.5f} V) + p / ({channel.pa_per_v / unit.pa:.5f} {unit.value}/V)",
        "u of zero": _fine(channel.u_zero_pa or 0.0, unit),
        "u of span, reference included": f"{100 * channel.u_span:.3f} %",
        "hysteresis, up against down": part(result.hysteresis_pa),
        "repeatability": part(result.repeatability_pa),
        "off the least-squares line": part(result.best_line_pa),
        "off the line through the ends": part(result.terminal_pa),
        "most changed since the record before": drift,
        "allowed for drift, a year": _fine(channel.drift_pa_per_year, unit),
    }


def _residuals(name: str, record: TransducersRecord, result: ChannelResult, unit: PressureUnit) -> str:
    reference = np.array(record.reference_pa) / unit.pa
    residual, rising = np.array(result.residual_pa) / unit.pa, np.array(result.rising)
    series = [
        Series("rising", reference[rising].tolist(), residual[rising].tolist()),
        Series("falling", reference[~rising].tolist(), residual[~rising].tolist(), fill=False),
    ]
    present = [each for each in series if each.x]
    return plot(present, f"reference pressure [{unit.value}]", f"{name}: indicated - reference [{unit.value}]")


# ---- pairing


def _pairing(record: PairingRecord, unit: PressureUnit) -> str:
    found, plateaus = record.result.pairing, record.result.plateaus
    ends = [0.0, max(found.highest_pa, record.set_point_pa)]
    line = [(found.offset_pa + found.gain * p) / unit.pa for p in ends]
    picture = plot(
        [
            Series(
                "plateaus", [p.supply_pa / unit.pa for p in plateaus], [p.difference_pa / unit.pa for p in plateaus]
            ),
            Series("line taken off", [p / unit.pa for p in ends], line, joined=True),
        ],
        f"supply pressure [{unit.value}]",
        f"cylinder - supply [{unit.value}]",
    )
    change = "" if record.change_pa is None else (
        f" Since pairing {escape(record.previous)} it changed by {_fine(record.change_pa, unit)} at the set point."
    )  # fmt: skip
    return (
        f"<p>Outlet blocked, {len(plateaus)} pressures: the cylinder channel differs by "
        f"{_fine(found.offset_pa, unit)} (u {_fine(found.u_offset_pa, unit)}) {found.gain * 100:+.3f} % of the "
        f"pressure (u {100 * found.u_gain:.3f} %), which is taken off. {_fine(found.residual_pa, unit)} stays beside "
        f"the line.{change}</p>\n<p>A loss of {SHOWN_LOSS:.0f} % is known to ±{record.after_pct:.2f} points with it, "
        f"±{record.before_pct:.2f} without.</p>\n{picture}"
    )


# ---- restrictor


def _restrictor(record: RestrictorRecord, instrument: Instrument) -> str:
    result, found = record.result, record.result.restrictor
    per = CONDUCTANCE["l_min_bar"]
    ratio = 1 - (1 - 0.97 * min(result.pressure_ratio)) * np.linspace(1, 0, 80) ** 2
    curve = orifice.flow_function(ratio, found.critical_ratio)
    picture = plot(
        [
            Series("jets", list(result.pressure_ratio), list(result.relative_flow)),
            Series(f"fitted, b = {found.critical_ratio:.3f}", ratio.tolist(), curve.tolist(), joined=True),
        ],
        "pressure after / before the restrictor, absolute",
        "flow / choked flow",
    )
    rows = [
        [f"{n}", f"{1e6 * p.jet.area_m2:.4f} mm²", f"{p.loss_pct:.2f} %", f"{100 * off:+.2f} %"]
        for n, (p, off) in enumerate(zip(result.points, result.residual, strict=True), 1)
    ]
    return (
        f"<p>C = {found.conductance_m3_s_pa / per:.4f} L/(min bar) (u {found.u_conductance_m3_s_pa / per:.4f}), "
        f"b = {found.critical_ratio:.4f} (u {found.u_critical_ratio:.4f}), ISO 6358-1; discharge coefficient "
        f"{result.discharge_coefficient:.3f} in a bore of {1e3 * record.restrictor_diameter_m:.3f} mm. The jets share "
        f"an uncertainty of {100 * record.u_shared:.1f} %. Assumed without it: coefficient "
        f"{instrument.discharge_coefficient:.2f}, u {instrument.u_discharge_coefficient:.2f}.</p>\n"
        f"{_table(['jet', 'effective area', 'loss', 'off the curve'], rows)}\n{picture}"
    )


# ---- what it comes to


def _budget(bench: Bench, calibration: Calibration) -> str:
    lines = typical_budget(bench, calibration)
    return (
        f"<section><h2>What a reading is worth today</h2>\n<p>A quiet reading of {SHOWN_LOSS:.0f} % loss at "
        f"{bench.unit.show(bench.instrument.set_point_pa)}: {escape(combine(lines).sentence())}.</p>\n"
        f"{_table(COLUMNS, budget_rows(lines, bench.unit))}\n"
        f'<p class="small">Each reading adds the noise of its own window. Ref: JCGM 100.</p></section>'
    )


def typical_budget(bench: Bench, calibration: Calibration) -> tuple[Contribution, ...]:
    """Of a reading without noise at the set point, today."""
    instrument = calibrated_instrument(bench.instrument, calibration)
    supply_pa = instrument.set_point_pa
    quiet, at_s = (0.0, 0.0, math.inf), bench.now.timestamp()
    return budget(supply_pa, supply_pa * (1 - SHOWN_LOSS / 100), quiet, 0.0, calibration, instrument, at_s)


def _fine(pressure_pa: float, unit: PressureUnit) -> str:
    return f"{pressure_pa / unit.pa:.{unit.decimals + 2}f} {unit.value}"


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(column)}</th>" for column in columns)
    body = "\n".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>\n{body}\n</tbody></table>"
