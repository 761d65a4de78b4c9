"""Tables of points as people keep them: CSV or TOML text, with the unit in the name of each column."""

from __future__ import annotations

import csv
import math
import tomllib
from dataclasses import dataclass

import numpy as np

from daq.errors import DataError
from daq.records import Floats
from daq.units import M_PER_INCH, PA_PER_BAR, PA_PER_KPA, PA_PER_PSI

PRESSURE = {"psi": PA_PER_PSI, "kpa": PA_PER_KPA, "bar": PA_PER_BAR, "pa": 1.0}
VOLTS = {"v": 1.0, "mv": 1e-3}
LENGTH = {"mm": 1e-3, "in": M_PER_INCH, "m": 1.0}
COUNT = {"count": 1.0}
NUMBER = {"": 1.0}
CONDUCTANCE = {"dm3_s_bar": 1e-8, "l_min_bar": 1e-3 / 60 / PA_PER_BAR, "m3_s_pa": 1.0}


@dataclass(frozen=True, slots=True)
class Table:
    """Columns by their names, all of one length; `origin` names the file in errors. NaN where nothing is written."""

    origin: str
    columns: dict[str, Floats]

    def take(self, quantity: str, units: dict[str, float]) -> Floats | None:
        """The column `<quantity>_<unit>` in SI units; None without one. DataError where it stands twice."""
        names = {f"{quantity}_{unit}" if unit else quantity: factor for unit, factor in units.items()}
        found = [name for name in names if name in self.columns]
        if len(found) > 1:
            raise DataError(f"{self.origin} gives {quantity} twice: {', '.join(found)}.", "Keep one of the columns.")
        return self.columns[found[0]] * names[found[0]] if found else None

    def need(self, quantity: str, units: dict[str, float]) -> Floats:
        """As `take`; DataError, naming the units that are allowed, without such a column or with an empty field."""
        column = self.take(quantity, units)
        allowed = ", ".join(f"{quantity}_{unit}" if unit else quantity for unit in units)
        if column is None:
            raise DataError(
                f"{self.origin} has no column for {quantity} with a unit that boretight knows.",
                f"Name it with its unit: one of {allowed}.",
                f"columns {', '.join(self.columns)}",
            )
        if not np.isfinite(column).all():
            row = int(np.flatnonzero(~np.isfinite(column))[0]) + 1
            raise DataError(f"{self.origin}: point {row} has no {quantity}.", "Complete the row, or take it out.")
        return column


def read_table(text: str, origin: str) -> Table:
    """CSV with a header (comma or semicolon; lines that begin with # are passed over), or TOML with [[point]] tables.

    DataError for what is neither.
    """
    rows = _toml_rows(text, origin) if origin.lower().endswith(".toml") else _csv_rows(text)
    if not rows:
        raise DataError(f"{origin} has no points.", "Write a header that names the columns, then a row for each point.")
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = {name: np.array([_number(row.get(name), name, at, origin) for at, row in enumerate(rows, 1)])
               for name in names}  # fmt: skip
    return Table(origin, columns)


def _csv_rows(text: str) -> list[dict[str, object]]:
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    separator = ";" if lines and ";" in lines[0] else ","
    reader = csv.reader(lines, delimiter=separator)
    header = [name.strip().lower() for name in next(reader, [])]
    return [dict(zip(header, row, strict=False)) for row in reader]


def _toml_rows(text: str, origin: str) -> list[dict[str, object]]:
    try:
        rows = tomllib.loads(text).get("point", [])
    except tomllib.TOMLDecodeError as error:
        raise DataError(f"{origin} is not a TOML file.", "Correct the line named.", str(error)) from error
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise DataError(f"{origin}: point is no list of tables.", "Write each point under a line [[point]].")
    return [{name.lower(): value for name, value in row.items()} for row in rows]


def _number(value: object, name: str, row: int, origin: str) -> float:
    text = "" if value is None else str(value).strip()
    try:
        return float(text) if text else math.nan
    except ValueError as error:
        todo = "Write numbers with a decimal point and the unit in the header."
        raise DataError(f"{origin}: point {row}: {name} is no number.", todo, repr(text)) from error
