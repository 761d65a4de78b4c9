"""The sections of the configuration, a model each."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, Self

import platformdirs
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, SecretStr, model_validator

from daq.engine_sheet import KEY, EngineSheet, number_as_text, sheet
from daq.procedure.engine import EngineOrder
from daq.records import ChannelCalibration, LineFormat
from daq.units import PA_PER_ATM, PA_PER_PSI, PressureUnit

Name = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$", description="lower-case letters, digits and dashes")]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PressureSection(Section):
    """A section with pressures in the unit of [display]. Their defaults are written down in psi."""

    pressures: ClassVar[tuple[str, ...]] = ()

    def in_unit(self, unit: PressureUnit) -> Self:
        """The section with the defaults converted; what somebody has set is in that unit already."""
        defaults = [name for name in self.pressures if name not in self.model_fields_set]
        return self.model_copy(update={name: getattr(self, name) * PA_PER_PSI / unit.pa for name in defaults})


class UsbIdentity(Section):
    """Which board, whatever name the system gives its port after the next replug."""

    vendor: Annotated[str, Field(pattern=r"^[0-9a-fA-F]{4}$")]
    product: Annotated[str, Field(pattern=r"^[0-9a-fA-F]{4}$")]
    serial: str | None = None


class LineSection(Section):
    """The serial line: a path, a pyserial URL, or a USB identity. With none of them the only USB board is taken."""

    port: str | None = None
    usb: UsbIdentity | None = None
    baud: Annotated[int, Field(ge=9600, le=4_000_000)] = 115_200
    rate_hz: Annotated[int, Field(ge=1, le=5000)] = 200
    format: Literal["auto", "framed", "bare"] = "auto"
    bare_bits: Annotated[int, Field(ge=8, le=16)] = 10

    @model_validator(mode="after")
    def _one_way_to_find_it(self) -> LineSection:
        if self.port and self.usb:
            raise ValueError("give port or usb, not both")
        return self

    @property
    def line_format(self) -> LineFormat | None:
        return None if self.format == "auto" else LineFormat(self.format)


class InstrumentSection(PressureSection):
    """The pneumatic side. Lengths in inches as restrictors are sold."""

    pressures: ClassVar[tuple[str, ...]] = ("set_point", "supply_band")

    restrictor_in: Annotated[float, Field(ge=0.005, le=0.25)] = 0.040
    discharge_coefficient: Annotated[float, Field(gt=0.3, le=1.0)] = 0.8
    critical_ratio: Annotated[float, Field(ge=0.1, le=0.6)] = 0.5283
    set_point: Positive = 100.0
    supply_band: Positive = 2.0
    hose_limit: Positive | None = None
    atmosphere_kpa: Annotated[float, Field(ge=50, le=110)] = PA_PER_ATM / 1000
    air_temperature_c: Annotated[float, Field(ge=-40, le=80)] = 20.0


class ChannelSection(PressureSection):
    """A transducer as its data sheet states it: the volts at zero and at full scale, and its class."""

    pressures: ClassVar[tuple[str, ...]] = ("full_scale",)

    zero_v: Annotated[float, Field(ge=-10, le=10)] = 0.5
    full_scale_v: Annotated[float, Field(ge=-10, le=10)] = 4.5
    full_scale: Positive = 150.0
    accuracy_pct_of_full_scale: Annotated[float, Field(gt=0, le=20)] = 0.5

    @model_validator(mode="after")
    def _has_span(self) -> ChannelSection:
        if self.full_scale_v == self.zero_v:
            raise ValueError("full_scale_v must differ from zero_v: a sensor without span measures nothing")
        return self

    def calibration(self, unit: PressureUnit) -> ChannelCalibration:
        full_scale_pa = self.full_scale * unit.pa
        pa_per_v = full_scale_pa / (self.full_scale_v - self.zero_v)
        accuracy_pa = full_scale_pa * self.accuracy_pct_of_full_scale / 100
        return ChannelCalibration(self.zero_v, pa_per_v, full_scale_pa, accuracy_pa)


class CalibrationSection(Section):
    reference_v: Positive = 5.0
    date: str = ""
    origin: str = "assumed"
    supply: ChannelSection = ChannelSection()
    cylinder: ChannelSection = ChannelSection()

    def in_unit(self, unit: PressureUnit) -> Self:
        return self.model_copy(update={"supply": self.supply.in_unit(unit), "cylinder": self.cylinder.in_unit(unit)})


class EngineSection(EngineSheet):
    """The keys of an engine profile; with `profile`, the ones that are not given here are those of that profile."""

    profile: Annotated[str, Field(pattern=f"^({KEY.pattern})?$")] = ""
    name: Annotated[str, Field(min_length=1, max_length=80)] = "unnamed engine"
    firing_order: Annotated[str, BeforeValidator(number_as_text)] = "1-3-4-2"

    @classmethod
    def filled(cls, values: Mapping[str, Any], folder: Path) -> dict[str, Any]:
        """With the keys of the profile named. What names every key already needs no file: so does a snapshot."""
        if not values.get("profile") or values.keys() >= cls.model_fields.keys():
            return dict(values)
        return {**sheet(folder, values["profile"]).model_dump(exclude_unset=True), **values}

    def order(self) -> EngineOrder:
        return self.profile_record().order


class StorageSection(Section):
    """`folder` holds the database and the raw logs; old raw logs go when they exceed `raw_log_limit_mb`."""

    folder: Path = Field(default_factory=lambda: Path(platformdirs.user_data_dir("boretight")))
    raw_log_limit_mb: Annotated[int, Field(ge=1)] = 4096

    @property
    def database(self) -> Path:
        return self.folder / "boretight.db"

    @property
    def raw_logs(self) -> Path:
        return self.folder / "raw"

    @property
    def calibrations(self) -> Path:
        return self.folder / "calibrations"

    @property
    def engines(self) -> Path:
        return self.folder / "engines"

    @property
    def page_token(self) -> Path:
        return self.folder / "page-token"

    @property
    def page_link(self) -> Path:
        """Where the page is served now; there only while it is."""
        return self.folder / "page-link"


class MqttSection(Section):
    """Where to publish. Without a host, a broker of our own is started on loopback, at `port` or a free one."""

    enabled: bool = True
    host: str | None = None
    port: Annotated[int, Field(ge=0, le=65535)] = 1883
    root: Name = "boretight"
    username: str | None = None
    password: SecretStr | None = None
    tls: bool = False
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    protocol: Literal["auto", "5", "3.1.1"] = "auto"

    @property
    def embedded(self) -> bool:
        return self.host is None


class DisplaySection(Section):
    pressure: PressureUnit = PressureUnit.PSI


class CuesSection(Section):
    """Tones and spoken words. `words` names a file with the cues in another language."""

    sound: bool = True
    speak: bool = True
    volume_pct: Annotated[int, Field(ge=0, le=100)] = 80
    voice: Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9+_-]{0,40}$")] = "en"
    words_per_min: Annotated[int, Field(ge=80, le=450)] = 160
    words: Path | None = None


class PageSection(Section):
    """The live page: for this computer only, or with `lan` for the local network, where nothing is shown without the
    token. Port 0 takes a free one; 8034 gives way to a free one if it is taken."""

    enabled: bool = True
    lan: bool = False
    port: Annotated[int, Field(ge=0, le=65535)] = 8034
