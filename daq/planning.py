"""From what an operator asks for to the plan of a test: the profile of the engine, and what was said of the day."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from daq.config import Config
from daq.engine_sheet import EngineSheet, sheet
from daq.errors import UsageError
from daq.procedure import TestPlan
from daq.procedure.crank_turns import crank_steps
from daq.procedure.engine import EngineProfile
from daq.procedure.plan import Temperature
from daq.records import Instrument
from daq.units import both

Line = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f]*$")]
LAST = "last"
"""What the newest test is asked for by."""
SAME = 0.02
"""Set points or restrictors that differ by less are the same."""


class StartRequest(BaseModel):
    """What may be said when a test is started; nothing of it must be.

    `engine` is the key of a profile, by default the configured engine. `hours` and `distance_km` are what the engine
    has run. `acknowledged_by` names who has read the cautions.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    engine: Annotated[str, Field(max_length=32)] = ""
    test: Annotated[str, Field(max_length=48)] = ""
    temperature: Temperature = Temperature.UNKNOWN
    acknowledged_by: Line = ""
    soft_step: bool = False
    hours: Annotated[float | None, Field(ge=0, allow_inf_nan=False)] = None
    distance_km: Annotated[float | None, Field(ge=0, allow_inf_nan=False)] = None
    by: Line = ""
    note: Line = ""

    @field_validator("test")
    @classmethod
    def _is_a_name(cls, text: str) -> str:
        if text != text.strip() or not text.isprintable():
            raise ValueError("a name is printable, without blanks before or after it")
        if text == LAST:
            raise ValueError(f"`{LAST}` is the newest test, whichever that is")
        return text


def request_from(text: str) -> StartRequest:
    """JSON; nothing at all asks for a test of the configured engine. Raises UsageError."""
    try:
        values = json.loads(text.strip() or "{}")
    except (ValueError, RecursionError) as error:
        raise UsageError(
            "This is no request for a test.", 'Send a JSON object, as {"engine": "v8"}.', str(error)
        ) from error
    return request_of(values)


def request_of(values: object) -> StartRequest:
    """Raises UsageError that names the field."""
    try:
        return StartRequest.model_validate(values)
    except ValidationError as error:
        fault = error.errors(include_url=False, include_input=False)[0]
        where, wrong = ".".join(map(str, fault["loc"])), str(fault["msg"]).removeprefix("Value error, ")
        raise UsageError(
            "This is no request for a test.", "Correct the field named.", f"{where}: {wrong}".lstrip(": ")
        ) from error


def plan_of(config: Config, request: StartRequest, utc_s: float) -> TestPlan:
    """UsageError for an engine that there is not, DataError for a profile that is wrong."""
    wanted = sheet(config.storage.engines, request.engine) if request.engine else configured(config)
    key = request.engine or config.engine.profile or "engine"
    name = request.test or f"{datetime.fromtimestamp(utc_s, UTC):%Y%m%dt%H%M%Sz}-{key}"
    said = request.model_dump(mode="json", exclude={"engine", "test", "temperature", "acknowledged_by", "soft_step"})
    profile = wanted.profile_record()
    return TestPlan(
        test=name,
        engine=profile.order,
        turn_deg=tuple(step.turn_deg for step in crank_steps(profile)),
        temperature=request.temperature,
        acknowledged=request.acknowledged_by,
        soft_step=request.soft_step,
        has_valves=profile.valves,
        about={"profile": wanted.model_dump(mode="json", exclude_defaults=True), **said},
    )


def plan_by_itself(config: Config, boot: str) -> TestPlan:
    """Of the test that begins with the first air, nobody having asked for one; `boot` names it."""
    profile, values = config.engine.profile_record(), configured(config).model_dump(mode="json", exclude_defaults=True)
    turns = tuple(step.turn_deg for step in crank_steps(profile)) if config.engine.profile else ()
    return TestPlan(
        boot, profile.order, turns, explicit=False, has_valves=profile.valves, about={"profile": values}
    )  # fmt: skip


def configured(config: Config) -> EngineSheet:
    """The engine of the configuration, as a profile would have it."""
    section = config.engine.model_dump(exclude_unset=True, exclude={"profile"})
    return EngineSheet.model_validate(
        {"name": config.engine.name, "firing_order": config.engine.firing_order, **section}
    )


def profile_of(plan: TestPlan) -> EngineProfile:
    """The engine that a plan was made for; only name and order, where the plan says no more."""
    values: Any = plan.about.get("profile")
    if not isinstance(values, dict):
        return EngineProfile(name=plan.engine.name, firing_order=plan.engine.firing_order, valves=plan.has_valves)
    return EngineSheet.model_validate(values).profile_record()


def misfits(profile: EngineProfile, instrument: Instrument) -> Iterator[str]:
    """Where the bench is not what the profile of the engine asks for; readings can be converted, and say so."""
    wanted_pa, wanted_m = profile.set_point_pa, profile.restrictor_m
    if wanted_pa and not math.isclose(wanted_pa, instrument.set_point_pa, rel_tol=SAME):
        yield f"The profile asks for {both(wanted_pa)}, this bench is set to {both(instrument.set_point_pa)}."
    if wanted_m and not math.isclose(wanted_m, instrument.restrictor_diameter_m, rel_tol=SAME):
        has_mm, wants_mm = instrument.restrictor_diameter_m * 1e3, wanted_m * 1e3
        yield f"The profile asks for a restrictor of {wants_mm:.2f} mm, this bench has {has_mm:.2f} mm."
