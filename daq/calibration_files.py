"""Calibrations on disk: one JSON file each, written once and never changed; the newest of each kind is in force.

A file is named by time, kind and the begin of its id, which is a hash of all its content. What is in force is put
together from the configuration's data sheets and the newest records that still fit them; nothing else is kept.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from daq.calibrate.pairing import PairingResult
from daq.calibrate.restrictor import RestrictorResult
from daq.calibrate.transducer import ChannelResult
from daq.errors import DataError, UsageError
from daq.measure.calibration import identified
from daq.records import Calibration, ChannelCalibration
from daq.sinks.disk import storage_errors

ID_DIGITS = 12
NAME_DIGITS = 8


class Model(BaseModel):
    # Infinity (degrees of freedom of what is no sample) is no number of JSON: it is written as text.
    model_config = ConfigDict(extra="forbid", frozen=True, ser_json_inf_nan="strings")


class Made(Model):
    """When, by whom, with what, in what surroundings; and when it should be made again."""

    utc: AwareDatetime
    by: str
    software: str
    due_utc: AwareDatetime
    board: str = ""
    ambient_c: float | None = None
    ambient_kpa: float | None = None
    note: str = ""


class Gauge(Model):
    """The reference instrument; `u_pa` is its standard uncertainty at the end of the range."""

    name: str
    u_pa: float


class Record(Model):
    """What all have in common. `previous` is the id of the record that this one was compared with."""

    schema_version: Literal[1] = 1
    id: str = ""
    made: Made
    previous: str = ""


class TransducersRecord(Record):
    """Both transducers against a reference gauge: the points as they were taken, and what came of them."""

    kind: Literal["transducers"] = "transducers"
    gauge: Gauge
    reference_v: float
    reference_pa: tuple[float, ...]
    supply_v: tuple[float, ...]
    cylinder_v: tuple[float, ...]
    supply: ChannelResult
    cylinder: ChannelResult


class PairingRecord(Record):
    """Both channels at zero flow. It holds for the lines `lines_id` alone. `before_pct` and `after_pct`: half-width of
    the 95 % interval of a 10 % loss at the set point, without and with it; `change_pa`: since the pairing before."""

    kind: Literal["pairing"] = "pairing"
    lines_id: str
    set_point_pa: float
    result: PairingResult
    before_pct: float
    after_pct: float
    change_pa: float | None = None


class RestrictorRecord(Record):
    """The restrictor of this bore, by known jets. `u_shared`: relative, of what the jets have in common."""

    kind: Literal["restrictor"] = "restrictor"
    restrictor_diameter_m: float
    atmosphere_pa: float
    u_shared: float
    calibration_id: str
    result: RestrictorResult


AnyRecord = TransducersRecord | PairingRecord | RestrictorRecord
_ADAPTER: TypeAdapter[AnyRecord] = TypeAdapter(Annotated[AnyRecord, Field(discriminator="kind")])
Kind = TypeVar("Kind", TransducersRecord, PairingRecord, RestrictorRecord)


# ---- one file


def save(folder: Path, record: AnyRecord) -> tuple[Path, AnyRecord]:
    """Writes a record, with its id, to a file of its own, and safe from a loss of power. StorageError if it cannot."""
    named = record.model_copy(update={"id": content_id(record)})
    path = folder / f"{named.made.utc.astimezone(UTC):%Y%m%dT%H%M%SZ}-{named.kind}-{named.id[:NAME_DIGITS]}.json"
    with storage_errors(path, "write the calibration"):
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(named.model_dump_json(indent=2) + "\n")
            file.flush()
            os.fsync(file.fileno())
    return path, named


def content_id(record: AnyRecord) -> str:
    """A hash of everything but the id itself."""
    content = json.dumps({key: value for key, value in as_json(record).items() if key != "id"}, sort_keys=True)
    return hashlib.sha256(content.encode()).hexdigest()[:ID_DIGITS]


def read(path: Path) -> AnyRecord:
    """DataError for a file that is no record, is of a newer version, or was changed since it was written."""
    try:
        record = _ADAPTER.validate_json(path.read_bytes())
    except (OSError, ValidationError) as error:
        raise DataError(
            f"{path} is no calibration record that this version of boretight can read.",
            "Update boretight, or move the file away; the record before it is in force meanwhile.",
            _first_fault(error),
        ) from error
    if content_id(record) != record.id:
        raise DataError(
            f"{path} was changed after it was written.",
            "Records are never changed: restore it, or move it away and calibrate again.",
            f"its id is {record.id}, its content gives {content_id(record)}",
        )
    return record


def _first_fault(error: OSError | ValidationError) -> str:
    if isinstance(error, OSError):
        return str(error)
    fault = error.errors()[0]
    return f"{'.'.join(map(str, fault['loc'])) or 'the file'}: {fault['msg']}"


# ---- all of them


@dataclass(frozen=True, slots=True)
class Shelf:
    """The records of a folder, oldest first, and what is wrong with the files that are none."""

    records: tuple[AnyRecord, ...]
    complaints: tuple[str, ...] = ()

    def newest(self, kind: type[Kind]) -> Kind | None:
        return next((record for record in reversed(self.records) if isinstance(record, kind)), None)

    def find(self, name: str) -> AnyRecord:
        """By the begin of its id; UsageError if there is none, or more than one."""
        found = [record for record in self.records if record.id.startswith(name)]
        if len(found) != 1:
            todo = "`boretight calibration list` names them; give more digits."
            raise UsageError(f"{len(found)} calibration records have an id that begins with {name!r}.", todo)
        return found[0]


def read_shelf(folder: Path) -> Shelf:
    """A folder that is not there holds no records."""
    records: list[AnyRecord] = []
    complaints: list[str] = []
    for path in sorted(folder.glob("*.json")):
        try:
            records.append(read(path))
        except DataError as error:
            complaints.append(str(error))
    return Shelf(tuple(sorted(records, key=lambda record: record.made.utc)), tuple(complaints))


def newest(
    folder: Path,
    sheets: Calibration,
    restrictor_diameter_m: float | None = None,
    complain: Callable[[str], None] = lambda complaint: None,
) -> Calibration:
    """The calibration in force: the newest record of each kind over the data sheets of the configuration.

    A record that cannot be read or does not fit any more counts as not there; `complain` is told of each.
    """
    shelf = read_shelf(folder)
    calibration, complaints = compose(shelf, sheets, restrictor_diameter_m)
    for complaint in (*shelf.complaints, *complaints):
        complain(complaint)
    return calibration


def from_snapshot(values: Mapping[str, Any], origin: Path) -> Calibration:
    """The calibration that a raw log was made with, as its header keeps it. DataError if it is none."""
    try:
        return TypeAdapter(Calibration).validate_python(values)
    except ValidationError as error:
        raise DataError(
            f"The calibration kept in {origin} is none that this version of boretight knows.",
            todo="Replay it with --config: then the calibration in force today is used.",
            evidence=_first_fault(error),
        ) from error


def compose(
    shelf: Shelf, sheets: Calibration, restrictor_diameter_m: float | None = None
) -> tuple[Calibration, list[str]]:
    """The calibration, and which of the newest records do not fit it, each with what to do."""
    found, complaints = sheets, []
    used: list[AnyRecord] = []
    if (lines := shelf.newest(TransducersRecord)) is not None:
        if reason := _does_not_fit(lines, sheets):
            complaints.append(f"The transducer calibration {lines.id} is not used: {reason} Calibrate them again.")
        else:
            found = replace(found, supply=lines.supply.channel, cylinder=lines.cylinder.channel)
            used.append(lines)
    if (paired := shelf.newest(PairingRecord)) is not None:
        if paired.lines_id != lines_id(found):
            complaints.append(f"The pairing {paired.id} is not used: the channels were calibrated anew. Pair again.")
        else:
            found = replace(found, pairing=replace(paired.result.pairing, pairing_id=paired.id))
            used.append(paired)
    if (jets := shelf.newest(RestrictorRecord)) is not None:
        if restrictor_diameter_m is not None and not math.isclose(jets.restrictor_diameter_m, restrictor_diameter_m):
            complaints.append(f"The restrictor calibration {jets.id} is not used: another restrictor is configured.")
        else:
            found = replace(found, restrictor=replace(jets.result.restrictor, restrictor_id=jets.id))
            used.append(jets)
    return identified(_told(found, used)), complaints


def lines_id(calibration: Calibration) -> str:
    """Names both straight lines and nothing else: a pairing holds only for those it was made with."""
    lines = Calibration("", "", "", calibration.reference_v, calibration.supply, calibration.cylinder)
    return identified(lines).calibration_id


def _told(calibration: Calibration, used: Sequence[AnyRecord]) -> Calibration:
    """With its origin in words, and the day of the newest record."""
    if not used:
        return calibration
    origin = ", ".join(f"{record.kind} {record.id}" for record in used)
    date = max(record.made.utc for record in used).astimezone(UTC)
    return replace(calibration, origin=origin, date=f"{date:%Y-%m-%d}")


def _does_not_fit(record: TransducersRecord, sheets: Calibration) -> str:
    """Why it belongs to other sensors than those configured; empty if it belongs to them."""
    if not math.isclose(record.reference_v, sheets.reference_v):
        return "the reference of the sensors is another one."
    pairs: list[tuple[ChannelCalibration, ChannelCalibration]] = [
        (record.supply.channel, sheets.supply), (record.cylinder.channel, sheets.cylinder),
    ]  # fmt: skip
    if all(math.isclose(of_record.full_scale_pa, of_sheet.full_scale_pa) for of_record, of_sheet in pairs):
        return ""
    return "sensors of another range are configured."


def utc_of(made_s: float) -> datetime:
    return datetime.fromtimestamp(made_s, UTC)


def as_json(record: AnyRecord) -> Any:
    """A record as it stands in its file: what `--json` prints."""
    return json.loads(record.model_dump_json())
