"""`boretight calibration list` and `show`: the records that are kept, and a certificate of what is in force."""

from __future__ import annotations

import time
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from daq.calibration_files import (
    AnyRecord,
    PairingRecord,
    RestrictorRecord,
    TransducersRecord,
    as_json,
    utc_of,
)
from daq.cli.calibrate_pairing import show_pairing
from daq.cli.calibrate_restrictor import show_restrictor
from daq.cli.calibrate_transducers import show_transducers
from daq.cli.output import print_json, print_table
from daq.cli.workshop import Workshop, open_workshop
from daq.daemon.bench import software
from daq.records import Calibration
from daq.report.budget_table import COLUMNS, budget_rows, combine
from daq.report.certificate import SHOWN_LOSS, Bench, certificate, typical_budget
from daq.sinks.disk import storage_errors


def list_records(config_path: Path | None, json: bool) -> None:
    """Oldest first; what is in force is marked."""
    shop, now = open_workshop(config_path), utc_of(time.time())
    rows: list[dict[str, Any]] = [
        {
            "id": record.id,
            "kind": record.kind,
            "made_utc": record.made.utc.isoformat(),
            "by": record.made.by,
            "due_utc": record.made.due_utc.isoformat(),
            "in_force": is_used(record, shop.calibration),
            "overdue": record.made.due_utc < now,
        }
        for record in shop.shelf().records
    ]
    if json:
        print_json({"calibration_id": shop.calibration.calibration_id, "records": rows})
        return
    shown = [[r["id"], r["kind"], r["made_utc"][:16], r["by"], r["due_utc"][:10], _state(r)] for r in rows]
    print_table(f"Calibrations in {shop.folder}", ["id", "kind", "made (UTC)", "by", "due", ""], shown)
    if not rows:
        print("None yet: the data sheets of the configuration are in force. Next: boretight calibrate pairing")


def _state(row: dict[str, Any]) -> str:
    if not row["in_force"]:
        return ""
    return "in force, overdue" if row["overdue"] else "in force"


def is_used(record: AnyRecord, calibration: Calibration) -> bool:
    """Whether the calibration is made of this record, among others; its origin names them."""
    return record.id in calibration.origin.replace(",", "").split()


def show(record_id: str | None, html: Path | None, config_path: Path | None, json: bool) -> None:
    """One record, or by default all that is in force; as a certificate too with `html`."""
    shop = open_workshop(config_path)
    shelf = shop.shelf()
    used = [record for record in shelf.records if is_used(record, shop.calibration)]
    records = [shelf.find(record_id)] if record_id else used
    bench = Bench(shop.config.bench, shop.instrument, shop.unit, utc_of(time.time()), software())
    if html is not None:
        write(html, certificate(bench, shop.calibration, records))
    if json:
        print_json({"calibration": _finite(asdict(shop.calibration)), "records": [as_json(r) for r in records]})
    elif html is not None:
        print(f"Certificate written to {html}.")
    else:
        tell(shop, bench, records)


def write(path: Path, text: str) -> None:
    with storage_errors(path, "write the certificate"):
        path.write_text(text, encoding="utf-8")


def tell(shop: Workshop, bench: Bench, records: list[AnyRecord]) -> None:
    """On the terminal, in tables."""
    print(f"Calibration {shop.calibration.calibration_id}: {shop.calibration.origin}")
    for record in records:
        print(f"\n{record.kind} {record.id}, made {_day(record.made.utc)} by {record.made.by}, "
              f"due {_day(record.made.due_utc)}")  # fmt: skip
        match record:
            case TransducersRecord():
                show_transducers(record, shop)
            case PairingRecord():
                show_pairing(record, shop)
            case RestrictorRecord():
                show_restrictor(record, shop)
    lines = typical_budget(bench, shop.calibration)
    print_table(f"A quiet reading of {SHOWN_LOSS:.0f} % today", COLUMNS, budget_rows(lines, shop.unit))
    print(f"All together: {combine(lines).sentence()}.")


def _day(utc: datetime) -> str:
    return f"{utc:%Y-%m-%d}"


def _finite(value: object) -> object:
    """Infinity is no number of JSON."""
    if isinstance(value, dict):
        return {key: _finite(each) for key, each in value.items()}
    return None if isinstance(value, float) and abs(value) == float("inf") else value
