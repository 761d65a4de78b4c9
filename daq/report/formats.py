"""Rows as CSV, JSON lines or Parquet, a batch at a time."""

from __future__ import annotations

import csv
import json
from abc import abstractmethod
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from enum import StrEnum
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from daq.errors import UsageError

Row = Sequence[Any]


class Kind(StrEnum):
    """What a column holds. JSON is text that JSON lines show as what it means."""

    TEXT = "text"
    REAL = "real"
    INTEGER = "integer"
    JSON = "json"


Columns = dict[str, Kind]


class RowWriter(AbstractContextManager["RowWriter"]):
    """Takes batches of rows, one value a column, None where there is none; what is left to write follows at the end."""

    @abstractmethod
    def write(self, rows: Iterable[Row]) -> None: ...

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        pass


class CsvWriter(RowWriter):
    """A header, then a line a row. Ref: RFC 4180, with plain line ends."""

    def __init__(self, out: IO[str], columns: Columns) -> None:
        self._csv = csv.writer(out, lineterminator="\n")
        self._csv.writerow(columns)

    def write(self, rows: Iterable[Row]) -> None:
        self._csv.writerows(rows)


class JsonLinesWriter(RowWriter):
    """One JSON object a line. Ref: RFC 8259 (no NaN, no Infinity)."""

    def __init__(self, out: IO[str], columns: Columns) -> None:
        self._out = out
        self._columns = list(columns.items())

    def write(self, rows: Iterable[Row]) -> None:
        self._out.writelines(self._line(row) for row in rows)

    def _line(self, row: Row) -> str:
        pairs = zip(self._columns, row, strict=True)
        content = {name: json.loads(value) if kind is Kind.JSON else value for (name, kind), value in pairs}
        return json.dumps(content, ensure_ascii=False, allow_nan=False) + "\n"


class ParquetWriter(RowWriter):
    """A row group a batch. pyarrow is optional; UsageError without it."""

    def __init__(self, path: Path, columns: Columns) -> None:
        try:
            import pyarrow
            from pyarrow import parquet
        except ImportError as error:
            what = "Parquet needs the library pyarrow, which is not installed."
            raise UsageError(what, "pip install 'boretight[parquet]', or choose csv or jsonl.") from error
        types = {Kind.REAL: pyarrow.float64(), Kind.INTEGER: pyarrow.int64()}
        fields = [(name, types.get(kind, pyarrow.string())) for name, kind in columns.items()]
        self._pyarrow, self._schema = pyarrow, pyarrow.schema(fields)
        self._parquet = parquet.ParquetWriter(path, self._schema, compression="zstd")

    def write(self, rows: Iterable[Row]) -> None:
        values = list(zip(*rows, strict=True)) or [()] * len(self._schema)
        arrays = [self._pyarrow.array(each, kind) for each, kind in zip(values, self._schema.types, strict=True)]
        self._parquet.write_table(self._pyarrow.Table.from_arrays(arrays, schema=self._schema))

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._parquet.close()


TEXT_FORMATS: dict[str, Callable[[IO[str], Columns], RowWriter]] = {"csv": CsvWriter, "jsonl": JsonLinesWriter}
FORMATS = (*TEXT_FORMATS, "parquet")
