"""`boretight export`: stored data for other programs."""

from __future__ import annotations

import sys
from pathlib import Path

from daq.cli.output import progress
from daq.config import load
from daq.report.export import export as write
from daq.report.export import parse_since


def export(
    table: str, format: str, out: Path | None, database: Path | None, since: str | None, config_path: Path | None
) -> None:
    """What cannot be read is told on standard error; all the rest is written."""
    source = database or load(config_path).storage.database
    from_utc = parse_since(since) if since else None
    with progress(f"Exporting {table}", None) as advance:
        done = write(source, table, format, out, since=from_utc, progress=advance)
    for complaint in done.complaints:
        print(f"boretight: {complaint}", file=sys.stderr)
    if out is not None:
        print(f"{done.rows} rows written to {out}.", file=sys.stderr)
