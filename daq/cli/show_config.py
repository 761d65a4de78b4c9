"""`boretight config`: the configuration in force."""

from __future__ import annotations

from pathlib import Path

from daq.cli.output import print_json, print_table
from daq.config import default_path, load


def show(path: Path | None, as_json: bool) -> None:
    config = load(path)
    values = config.model_dump(mode="json")
    if as_json:
        print_json(values)
        return
    source = path or default_path()
    where = f"{source}" if source.exists() else f"defaults ({source} is not there)"
    rows = [[key, str(value)] for key, value in flat(values)]
    print_table(f"Configuration from {where}", ["key", "value"], rows)


def flat(values: dict[str, object], prefix: str = "") -> list[tuple[str, object]]:
    """Nested sections as dotted keys."""
    rows: list[tuple[str, object]] = []
    for key, value in values.items():
        rows += flat(value, f"{prefix}{key}.") if isinstance(value, dict) else [(f"{prefix}{key}", value)]
    return rows
