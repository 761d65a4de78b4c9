"""What a measurement needs to know of the bench: board, calibration, instrument, and limits of a loss."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class LineFormat(StrEnum):
    """How a board writes its lines; see firmware_spec/protocol.md."""

    FRAMED = "framed"
    BARE = "bare"


class ReferenceMode(StrEnum):
    """Ratiometric: sensors and converter share one reference. Absolute: the reference field of a sample is the
    count of the sensor supply, on the same scale as the two channels."""

    RATIOMETRIC = "RATIO"
    ABSOLUTE = "ABS"


@dataclass(frozen=True, slots=True)
class Board:
    """What a board said of itself in the handshake. For a bare board only the assumed part is filled in."""

    line_format: LineFormat
    bits: int
    reference_mode: ReferenceMode = ReferenceMode.RATIOMETRIC
    rate_hz: float | None = None
    maker: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""
    protocol: int = 0
    self_test: str = ""
    url: str = ""


@dataclass(frozen=True, slots=True)
class ChannelCalibration:
    """A straight line from volts (at the nominal reference) to gauge pressure, and how well it is known.

    gauge_pa = (volts - zero_v) * pa_per_v. `accuracy_pa` is the half-width of the limits of error that the data sheet
    states; it is all that is known until `u_zero_pa` is there: then the line was calibrated, and the rest holds.
    `u_zero_pa` and `u_span` (relative) are standard uncertainties of the fitted line, the reference gauge included;
    `u_reference_span` (relative) is the part of `u_span` that both channels share because one gauge served both.
    `hysteresis_pa` is the greatest difference between up and down, `nonlinearity_pa` the greatest residual,
    `drift_pa_per_year` the half-width of what a year may do.
    """

    zero_v: float
    pa_per_v: float
    full_scale_pa: float
    accuracy_pa: float
    u_zero_pa: float | None = None
    u_span: float = 0.0
    zero_span_correlation: float = 0.0
    u_reference_span: float = 0.0
    hysteresis_pa: float = 0.0
    nonlinearity_pa: float = 0.0
    drift_pa_per_year: float = 0.0
    degrees_of_freedom: float = float("inf")
    made_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Pairing:
    """The difference of the two channels at zero flow: cylinder - supply = offset_pa + gain * supply gauge pressure.

    It is taken off the cylinder channel. `u_` are standard, `residual_pa` is the standard deviation about the line,
    `drift_pa_per_day` the half-width of what a day may do to the difference. `made_s`: seconds since 1970, UTC.
    """

    pairing_id: str
    made_s: float
    offset_pa: float
    gain: float
    u_offset_pa: float
    u_gain: float
    correlation: float
    residual_pa: float
    degrees_of_freedom: float
    lowest_pa: float
    highest_pa: float
    drift_pa_per_day: float = 0.0


@dataclass(frozen=True, slots=True)
class RestrictorCalibration:
    """C (m3/(s Pa)) and b of the restrictor, fitted from known jets. Ref: ISO 6358-1. `u_` are standard."""

    restrictor_id: str
    made_s: float
    conductance_m3_s_pa: float
    critical_ratio: float
    u_conductance_m3_s_pa: float
    u_critical_ratio: float
    correlation: float
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """The record that a reading names. `reference_v` is the nominal reference that both lines are stated for."""

    calibration_id: str
    origin: str
    date: str
    reference_v: float
    supply: ChannelCalibration
    cylinder: ChannelCalibration
    pairing: Pairing | None = None
    restrictor: RestrictorCalibration | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """A loss that something follows from, bound to the restrictor and the supply that it is stated for.

    `u_loss_pct` is the standard uncertainty of the limit itself, from carrying it to another restrictor.
    """

    name: str
    loss_pct: float
    restrictor_diameter_m: float
    discharge_coefficient: float
    set_point_pa: float
    source: str
    u_loss_pct: float = 0.0


@dataclass(frozen=True, slots=True)
class Instrument:
    """Everything else that turns pressures into a reading. `assumed` names what has not been calibrated.

    The `u_` are standard uncertainties; that of the discharge coefficient (0.06) covers the published range of short
    bores with a conical approach and counts until the restrictor is calibrated.
    """

    restrictor_diameter_m: float
    discharge_coefficient: float
    critical_ratio: float
    atmosphere_pa: float
    gas_temperature_k: float
    set_point_pa: float
    supply_band_pa: float
    assumed: tuple[str, ...] = ()
    u_atmosphere_pa: float = 500.0
    u_gas_temperature_k: float = 3.0
    u_discharge_coefficient: float = 0.06
    hose_limit_pa: float = float("inf")
