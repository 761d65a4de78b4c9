"""The sections together, and what the measurement needs of them."""

from __future__ import annotations

import math
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, ValidationInfo, field_validator, model_validator

from daq.config.sections import (
    CalibrationSection,
    CuesSection,
    DisplaySection,
    EngineSection,
    InstrumentSection,
    LineSection,
    MqttSection,
    Name,
    PageSection,
    StorageSection,
)
from daq.measure.calibration import identified
from daq.records import Calibration, Instrument
from daq.units import M_PER_INCH, ZERO_CELSIUS_K


class Config(BaseModel):
    """Everything a bench needs to know of itself."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=True)

    bench: Name = "bench"
    display: DisplaySection = DisplaySection()
    line: LineSection = LineSection()
    instrument: InstrumentSection = InstrumentSection()
    calibration: CalibrationSection = CalibrationSection()
    engine: EngineSection = EngineSection()
    storage: StorageSection = StorageSection()
    mqtt: MqttSection = MqttSection()
    cues: CuesSection = CuesSection()
    page: PageSection = PageSection()

    @model_validator(mode="before")
    @classmethod
    def _with_the_profile_of_its_engine(cls, values: dict[str, Any]) -> dict[str, Any]:
        """Here, because only here both the profile and the folder that keeps it are known."""
        engine, storage = values.get("engine"), values.get("storage") or {}
        if not isinstance(engine, dict) or not isinstance(engine.get("profile"), str):
            return values
        try:
            kept = StorageSection.model_validate(storage).engines
        except ValidationError:
            return values  # told by the field itself
        return {**values, "engine": EngineSection.filled(engine, kept)}

    @field_validator("instrument", "calibration")
    @classmethod
    def _in_the_unit_of_display(
        cls, section: InstrumentSection | CalibrationSection, info: ValidationInfo
    ) -> InstrumentSection | CalibrationSection:
        """Works because [display] is the earlier field; where that is wrong the error is its own."""
        return section.in_unit(info.data["display"].pressure) if "display" in info.data else section

    def measuring_instrument(self) -> Instrument:
        unit, section = self.display.pressure, self.instrument
        return Instrument(
            restrictor_diameter_m=section.restrictor_in * M_PER_INCH,
            discharge_coefficient=section.discharge_coefficient,
            critical_ratio=section.critical_ratio,
            atmosphere_pa=section.atmosphere_kpa * 1000,
            gas_temperature_k=section.air_temperature_c + ZERO_CELSIUS_K,
            set_point_pa=section.set_point * unit.pa,
            supply_band_pa=section.supply_band * unit.pa,
            assumed=("discharge_coefficient", "critical_ratio"),
            hose_limit_pa=math.inf if section.hose_limit is None else section.hose_limit * unit.pa,
        )

    def calibration_record(self) -> Calibration:
        unit, section = self.display.pressure, self.calibration
        supply, cylinder = section.supply.calibration(unit), section.cylinder.calibration(unit)
        return identified(Calibration("", section.origin, section.date, section.reference_v, supply, cylinder))
