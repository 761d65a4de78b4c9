"""The calibrations that are kept, what is in force, and its certificate: the same as `boretight calibration show`."""

from __future__ import annotations

import time
from pathlib import Path

from daq.calibration_files import AnyRecord, read_shelf, utc_of
from daq.records import Calibration
from daq.report.certificate import Bench, certificate
from daq.report.page.markup import Link, paragraph, table
from daq.sinks.page.documents import Document
from daq.sinks.payloads import BenchDescription


def calibration_page(folder: Path, calibration: Calibration) -> Document:
    shelf, now = read_shelf(folder), utc_of(time.time())
    head = paragraph(
        f"In force: {calibration.calibration_id} ({calibration.origin}).",
        Link("Certificate", ("calibration", "certificate")),
    )
    rows = [
        (
            record.id,
            record.kind,
            f"{record.made.utc:%Y-%m-%d %H:%M}",
            record.made.by,
            f"{record.made.due_utc:%Y-%m-%d}{' (overdue)' if record.made.due_utc < now else ''}",
            "in force" if is_used(record, calibration) else "",
        )
        for record in shelf.records
    ]
    columns = ("Record", "What", "Made (UTC)", "By", "Due", "")
    none = paragraph("Nothing has been calibrated yet. Next: `boretight calibrate pairing`.")
    body = table("Calibration records", columns, rows) if rows else none
    return Document("Calibration", head + body + "".join(paragraph(each) for each in shelf.complaints))


def certificate_page(folder: Path, name: str, bench: BenchDescription) -> Document:
    """Of what this run of the daemon measures with, as it stands today."""
    used = [record for record in read_shelf(folder).records if is_used(record, bench.calibration)]
    made = Bench(name, bench.instrument, bench.unit, utc_of(time.time()), bench.software)
    return Document("Certificate", certificate(made, bench.calibration, used), whole=True)


def is_used(record: AnyRecord, calibration: Calibration) -> bool:
    """Whether the calibration is made of this record, among others; its origin names them."""
    return record.id in calibration.origin.replace(",", "").split()
