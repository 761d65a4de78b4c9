"""A profile of an engine as a person writes it: a TOML file, lengths with their unit, every key checked.

Some invented profiles come with boretight (`daq/engines`); one's own lie in a folder, and go before those of that name.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, field_validator, model_validator

from daq.errors import DataError, UsageError
from daq.procedure.engine import End, EngineOrder, EngineProfile, Layout, Rotation
from daq.units import M_PER_INCH, PressureUnit

SUFFIX = ".toml"
KEY = re.compile("[a-z0-9][a-z0-9-]{0,31}")
LENGTHS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": M_PER_INCH}
VOLUMES = {"cm3": 1e-6, "cc": 1e-6, "ml": 1e-6, "in3": M_PER_INCH**3}
PRESSURES = {unit.value: unit.pa for unit in PressureUnit}
BY_BORE = "AC 43.13-1B"


def in_si(text: str, units: Mapping[str, float]) -> float:
    """`86 mm` or `3.39 in` in SI. ValueError, with what is allowed, for anything else."""
    found = re.fullmatch(r"\s*([0-9]*[.,]?[0-9]+)\s*([a-zA-Z]+3?)\s*", text)
    if not found or found[2] not in units:
        raise ValueError(f"must be a number with its unit, one of {', '.join(units)}")
    return float(found[1].replace(",", ".")) * units[found[2]]


def _order(text: str) -> tuple[int, ...]:
    try:
        numbers = tuple(int(part) for part in text.split("-"))
        return EngineOrder("", numbers).firing_order
    except (ValueError, UsageError) as error:
        raise ValueError("must name each of 1 to 16 cylinders exactly once, from 1, like 1-3-4-2") from error


def _row(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split("-"))
    except ValueError as error:
        raise ValueError("each bank must name its cylinders from the front, like 1-3-5-7") from error


def _words(value: object) -> object:
    """A list may be written as one text with blanks between: `1-3-5-7 2-4-6-8`."""
    return value.split() if isinstance(value, str) else value


def number_as_text(value: object) -> object:
    """The order of a single is `1`, which TOML takes for a number; and a bare length is told that it wants a unit."""
    return str(value) if isinstance(value, int | float) and not isinstance(value, bool) else value


Quantity = Annotated[str, BeforeValidator(number_as_text)]


class EngineSheet(BaseModel):
    """The keys of a profile; what is left out is not known. See `EngineProfile` for what they mean."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Annotated[str, Field(min_length=1, max_length=80)]
    firing_order: Quantity
    layout: Layout = Layout.OTHER
    cylinders: int | None = None
    banks: Annotated[tuple[Quantity, ...], BeforeValidator(_words)] = ()
    strokes: Literal[2, 4] = 4
    intervals_deg: Annotated[tuple[float, ...], BeforeValidator(_words)] = ()
    bore: Quantity | None = None
    stroke: Quantity | None = None
    rod: Quantity | None = None
    clearance: Quantity | None = None
    compression_ratio: float | None = None
    rotation: Rotation | None = None
    seen_from: End = End.FRONT
    restrictor: Quantity = BY_BORE
    set_point: Quantity | None = None
    valves: bool | None = None
    separate_cylinders: bool = False
    certified: bool = False
    notes: Annotated[str, Field(max_length=2000)] = ""

    @field_validator("firing_order")
    @classmethod
    def _is_an_order(cls, text: str) -> str:
        _order(text)
        return text

    @field_validator("banks")
    @classmethod
    def _are_rows(cls, texts: tuple[str, ...]) -> tuple[str, ...]:
        for text in texts:
            _row(text)
        return texts

    @field_validator("bore", "stroke", "rod", "clearance", "set_point", "restrictor")
    @classmethod
    def _has_its_unit(cls, text: str | None, info: Any) -> str | None:
        if text is not None and (info.field_name, text) != ("restrictor", BY_BORE):
            in_si(text, {"clearance": VOLUMES, "set_point": PRESSURES}.get(info.field_name, LENGTHS))
        return text

    @model_validator(mode="after")
    def _can_be(self) -> EngineSheet:
        number = len(_order(self.firing_order))
        if self.cylinders not in (None, number):
            raise ValueError(f"cylinders = {self.cylinders}, but the firing order names {number}")
        try:
            self.profile_record()
        except UsageError as error:
            raise ValueError(" ".join(filter(None, (error.what, error.todo, f"({error.evidence})")))) from error
        return self

    def profile_record(self) -> EngineProfile:
        """In SI, checked. Without a word on valves a four-stroke has some and a two-stroke none."""
        return EngineProfile(
            name=self.name,
            firing_order=_order(self.firing_order),
            layout=self.layout,
            banks=tuple(_row(text) for text in self.banks),
            strokes=self.strokes,
            intervals_deg=self.intervals_deg,
            bore_m=_si(self.bore, LENGTHS),
            stroke_m=_si(self.stroke, LENGTHS),
            rod_length_m=_si(self.rod, LENGTHS),
            clearance_m3=_si(self.clearance, VOLUMES),
            compression_ratio=self.compression_ratio,
            rotation=self.rotation,
            seen_from=self.seen_from,
            own_restrictor_m=None if self.restrictor == BY_BORE else in_si(self.restrictor, LENGTHS),
            set_point_pa=_si(self.set_point, PRESSURES),
            valves=self.strokes == 4 if self.valves is None else self.valves,
            separate_cylinders=self.separate_cylinders,
            certified=self.certified,
            notes=self.notes,
        )


def _si(text: str | None, units: Mapping[str, float]) -> float | None:
    return None if text is None else in_si(text, units)


# ---- where they lie


def shipped() -> dict[str, Traversable]:
    """Those that come with boretight, by their key."""
    folder = files("daq") / "engines"
    return {path.name.removesuffix(SUFFIX): path for path in folder.iterdir() if path.name.endswith(SUFFIX)}


def own(folder: Path) -> dict[str, Path]:
    """One's own, by their key; none if there is no such folder."""
    return {path.stem: path for path in sorted(folder.glob(f"*{SUFFIX}")) if KEY.fullmatch(path.stem)}


def find(folder: Path, key: str) -> Traversable:
    """One's own goes first. UsageError, with all there are, if there is none of that key."""
    found = own(folder).get(key) or shipped().get(key)
    if found is None:
        there = ", ".join(sorted({*own(folder), *shipped()}))
        raise UsageError(
            f"There is no engine profile {key!r}.", f"There are: {there}. `boretight engine add` makes one."
        )
    return found


def read(source: Traversable, key: str = "") -> dict[str, Any]:
    """The keys of a file as they stand there; the key is its name if it gives none. DataError if it is no TOML."""
    try:
        values = tomllib.loads(source.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DataError(
            f"{source} is no engine profile that can be read.", "Correct the line named.", str(error)
        ) from error
    return {"name": key, **values} if key else values


def checked(values: Mapping[str, Any], origin: str) -> EngineSheet:
    """DataError that names each key at fault, what is wrong with it and what is allowed."""
    try:
        return EngineSheet.model_validate(dict(values))
    except ValidationError as error:
        lines = [f"  {'.'.join(map(str, fault['loc'])) or 'as a whole'}: {_wrong(fault)}" for fault in error.errors()]
        raise DataError("\n".join([f"{origin} is no engine profile:", *lines]), "Correct the keys named.") from error


def _wrong(fault: Any) -> str:
    if fault["type"] == "extra_forbidden":
        return f"there is no such key; allowed are {', '.join(EngineSheet.model_fields)}"
    message = str(fault["msg"]).removeprefix("Value error, ")
    return message if fault["type"] == "missing" or not fault["loc"] else f"{message} (it is {fault['input']!r})"


def sheet(folder: Path, key: str) -> EngineSheet:
    """The profile of this key, checked."""
    source = find(folder, key)
    return checked(read(source, key), str(source))
