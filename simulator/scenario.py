"""Scenario files: what they may say, and how they are found and read. Units are in the names of the keys."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, model_validator

from simulator.actions import AnyAction
from simulator.conditions import AnyCondition
from simulator.engine import CylinderSection, EngineSection
from simulator.errors import ScenarioError
from simulator.inherit import merged
from simulator.script import Script, ScriptSection
from simulator.section import Fraction, NonNegative, Positive, Section


class BenchSection(Section):
    """The tester and its surroundings. `heat_w_per_k` is what the wall gives: 0 is adiabatic, inf is isothermal."""

    set_point_psi: Positive = 100.0
    restrictor_mm: Positive = 1.016
    discharge_coefficient: Annotated[float, Field(gt=0.0, le=1.0)] = 0.8
    hose_cc: Positive = 20.0
    vent_area_mm2: Positive = 4.0
    atmosphere_kpa: Annotated[float, Field(ge=50.0, le=110.0)] = 101.325
    air_c: Annotated[float, Field(ge=-40.0, le=80.0)] = 20.0
    wall_c: Annotated[float, Field(ge=-40.0, le=200.0)] = 20.0
    heat_w_per_k: Annotated[float, Field(ge=0.0)] = 1.0

    @model_validator(mode="after")
    def _heat_is_not_stiff(self) -> BenchSection:
        if 50.0 < self.heat_w_per_k < float("inf"):
            raise ValueError("heat_w_per_k must be at most 50, or inf for air that is always as warm as the wall")
        return self


class CompressorSection(Section):
    """The compressor and its tank."""

    low_psi: Positive = 125.0
    high_psi: Positive = 150.0
    tank_l: Positive = 50.0
    delivery_g_s: Positive = 3.0
    other_use_g_s: NonNegative = 0.5
    ripple_psi: NonNegative = 0.3
    ripple_hz: Positive = 12.0

    @model_validator(mode="after")
    def _low_is_below_high(self) -> CompressorSection:
        if self.low_psi >= self.high_psi:
            raise ValueError("low_psi must be below high_psi")
        return self


class RegulatorSection(Section):
    """How far the regulator is from an ideal one."""

    droop_psi_per_g_s: NonNegative = 0.6
    hump_psi: NonNegative = 0.1
    hump_g_s: Positive = 0.3
    tank_effect: Fraction = 0.01
    recovery_s: NonNegative = 0.15
    noise_psi: NonNegative = 0.03
    noise_time_s: Positive = 0.2


class TransducerSection(Section):
    """One transducer. The zero and span errors are those of this piece against its data sheet."""

    full_scale_psi: Positive = 150.0
    zero_v: NonNegative = 0.5
    span_v: Positive = 4.0
    zero_error_psi: float = 0.0
    span_error_pct: Annotated[float, Field(gt=-50.0, lt=50.0)] = 0.0
    hysteresis_psi: NonNegative = 0.0
    bow_psi: float = 0.0
    drift_psi_per_min: float = 0.0
    noise_psi: NonNegative = 0.05
    response_ms: NonNegative = 1.0


class TransducersSection(Section):
    """The two transducers."""

    supply: TransducerSection = TransducerSection()
    cylinder: TransducerSection = TransducerSection()


class BoardSection(Section):
    """The board. `calibration` is what it has stored: nothing, what the data sheet of the transducers says, or what
    these pieces really do."""

    maker: str = "Boretight"
    model: str = "Simulated board"
    serial: str = "SIM0001"
    firmware: str = "1.0"
    bare: bool = False
    bits: Annotated[int, Field(ge=8, le=16)] = 12
    reference: Literal["RATIO", "ABS"] = "RATIO"
    full_scale_v: Positive = 6.144
    baud: Annotated[int, Field(ge=1200)] = 115_200
    rate_hz: Annotated[int, Field(ge=1)] = 200
    clock_ppm: Annotated[float, Field(ge=-50_000.0, le=50_000.0)] = 0.0
    first_clock_us: Annotated[int, Field(ge=0, le=0xFFFFFFFF)] = 0
    boot_count: Annotated[int, Field(ge=0, le=0xFFFF)] = 1
    calibration: Literal["none", "nominal", "exact"] = "exact"
    calibration_date: Annotated[int, Field(ge=20000101, le=20991231)] = 20260101
    hum_mv: NonNegative = 0.5
    hum_hz: Positive = 50.0
    powered_by_cable: bool = True

    @model_validator(mode="after")
    def _identity_fits_a_reply(self) -> BoardSection:
        identity = (self.maker, self.model, self.serial, self.firmware)
        if any(not text or not text.isascii() or not text.isprintable() or set(text) & set(",*") for text in identity):
            raise ValueError(
                "maker, model, serial and firmware take printable ASCII without comma and *, and are not empty"
            )
        return self


class LineSection(Section):
    """Probability that a byte is lost, and that a bit of it is flipped."""

    drop_probability: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    flip_probability: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0


class Scenario(Section):
    """A whole scenario. Its time starts when the stream of the board is first started. A file may begin with `like` and
    the name of a built-in scenario; it then says only what is different.

    It ends `tail_s` after its last action, and never when it is `endless`.
    """

    title: str
    about: str = ""
    endless: bool = False
    tail_s: NonNegative = 1.0
    engine: EngineSection
    cylinder: Annotated[list[CylinderSection], Field(min_length=1)]
    condition: list[AnyCondition] = Field(default_factory=list)
    bench: BenchSection = BenchSection()
    compressor: CompressorSection = CompressorSection()
    regulator: RegulatorSection = RegulatorSection()
    transducer: TransducersSection = TransducersSection()
    board: BoardSection = BoardSection()
    line: LineSection = LineSection()
    script: ScriptSection | None = None
    action: list[AnyAction] = Field(default_factory=list)

    @model_validator(mode="after")
    def _cylinders_agree(self) -> Scenario:
        numbers = [cylinder.number for cylinder in self.cylinder]
        if sorted(numbers) != sorted(set(numbers)) or set(self.engine.order) - set(numbers):
            raise ValueError("each cylinder has one [[cylinder]] table, and engine.order names only those")
        for where, number in self._named_cylinders():
            if number not in numbers:
                raise ValueError(f"{where} names cylinder {number}; allowed: {', '.join(map(str, numbers))}")
        return self

    @model_validator(mode="after")
    def _script_tests_what_the_engine_has(self) -> Scenario:
        order = self.script.order if self.script else None
        if order and (len(set(order)) < len(order) or set(order) - set(self.engine.order)):
            raise ValueError("script.order names cylinders of engine.order, each once")
        return self

    @property
    def played(self) -> Script | None:
        """The script on the engine of this scenario."""
        return None if self.script is None else Script(self.script, self.engine, self.bench.set_point_psi)

    @property
    def first_set_point_psi(self) -> float:
        """Where the regulator stands when the scenario begins."""
        return self.script.soft_psi if self.script and self.script.is_soft(0) else self.bench.set_point_psi

    def _named_cylinders(self) -> Iterator[tuple[str, int]]:
        for departure in self.script.cylinder if self.script else []:
            yield "script.cylinder", departure.number
        for place, condition in enumerate(self.condition, 1):
            for number in condition.cylinders or []:
                yield f"condition {place}", number
        for place, action in enumerate(self.action, 1):
            if action.do == "connect":
                yield f"action {place}", action.cylinder
            if action.after_air_on is not None:
                yield f"action {place}", action.after_air_on


# ---- finding and reading ----


def built_in() -> dict[str, str]:
    """Name and text of each scenario that comes with the simulator."""
    folder = resources.files("simulator") / "scenarios"
    files = sorted((item for item in folder.iterdir() if item.name.endswith(".toml")), key=lambda item: item.name)
    return {item.name.removesuffix(".toml"): item.read_text(encoding="utf-8") for item in files}


def load(name: str) -> Scenario:
    """A built-in scenario by its name, or one from a TOML file. Raises ScenarioError."""
    texts = built_in()
    if name in texts:
        return parse(texts[name], name)
    path = Path(name)
    if not path.is_file():
        names = ", ".join(texts)
        raise ScenarioError(f"There is no scenario {name!r}.", f"Name one of {names}, or the path of a TOML file.")
    try:
        return parse(path.read_text(encoding="utf-8"), name)
    except (OSError, UnicodeDecodeError) as error:
        raise ScenarioError(f"The scenario {name} cannot be read.", "Name a text file.", str(error)) from error


def parse(text: str, source: str) -> Scenario:
    """A scenario from TOML text; `source` names it in errors. Raises ScenarioError."""
    try:
        return Scenario.model_validate(_tables(text, source))
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{source} is not a TOML file.", "Correct it.", str(error)) from error
    except ValidationError as error:
        faults = [f"{_key(fault['loc'])}: {fault['msg'].removeprefix('Value error, ')}" for fault in error.errors()]
        what = f"{source} is not a scenario that can be run."
        raise ScenarioError(what, "Correct what is named above.", "; ".join(faults)) from error


def _tables(text: str, source: str) -> dict[str, Any]:
    """The tables of a file, on those of the built-in scenario that it is `like`."""
    own = tomllib.loads(text)
    base = own.pop("like", None)
    if base is None:
        return own
    texts = built_in()
    if base not in list(texts):  # what is no name at all is in no list either
        what = f"{source} is like {base!r}, and there is no such scenario."
        raise ScenarioError(what, f"Name one of {', '.join(texts)}.")
    return merged(_tables(texts[base], base), own)


def _key(location: tuple[int | str, ...]) -> str:
    """`bench.hose_cc`, `action[2].for_s`: counted from 1, as a person counts the tables of a file."""
    text = ""
    for part in location:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".") or "the file"
