"""The frozen types that travel from the serial line to the sinks.

Times: `t_s` and `t_us` are the board's clock, unwrapped, counted within one `segment`; a segment begins when the
board is connected or restarts. `arrived_s` and `at_s` are the host's clock (seconds since 1970, UTC); they name
the day and never enter a measurement. Pressures are pascals, gauge where the name says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


# ---- what enters at the top, and is kept in the raw log --------------------------------------------------------


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
class Chunk:
    """Bytes as they came from the line; any split of the same bytes means the same."""

    arrived_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Mark:
    """Something the operator did: `kind` is one of `MarkKind`, or a word of a later tool."""

    at_s: float
    kind: str
    text: str = ""


class MarkKind(StrEnum):
    """What an operator may say; firmware, foot switch, command line and MQTT all end here.

    `start` brings the plan of a test (see daq/procedure/plan.py), `heard` a place where air was heard or seen.
    """

    START = "start"
    ACKNOWLEDGE = "acknowledge"
    NEXT = "next"
    AGAIN = "again"
    SKIP = "skip"
    UNDO = "undo"
    CYLINDER = "cylinder"
    HEARD = "heard"
    PAUSE = "pause"
    GO_ON = "go-on"
    FINISH = "finish"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class LinkUp:
    """A board has been opened and has answered; a new segment begins."""

    at_s: float
    board: Board


@dataclass(frozen=True, slots=True)
class LinkDown:
    """The line was lost or closed; the segment ends."""

    at_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Resume:
    """A run that was broken off in the middle of a test is gone on with: what had happened in that test so far.

    `events` are those that the procedure follows, the start of the test first.
    """

    at_s: float
    events: tuple[Event, ...]


Input = Chunk | Mark | LinkUp | LinkDown | Resume


# ---- arrays: one row a sample, then one row a tick -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Samples:
    """Counts as the board sent them, on an unwrapped clock. All arrays have the same length."""

    segment: int
    t_us: Ints
    supply_count: Ints
    cylinder_count: Ints
    reference: Ints
    flags: Ints


@dataclass(frozen=True, slots=True)
class Ticks:
    """Samples gathered on the fixed 50 ms grid of the board's clock; one row for each tick that had samples.

    Means come from exact integer sums, so the split of the stream cannot change a bit of them.
    """

    segment: int
    t_s: Floats
    n: Ints
    supply_count: Floats
    cylinder_count: Floats
    cylinder_low_count: Floats
    reference: Floats
    flags: Ints


@dataclass(frozen=True, slots=True)
class Pressures:
    """Gauge pressures, one row a tick; `cylinder_low_pa` is the lowest sample of the tick."""

    segment: int
    t_s: Floats
    supply_gauge_pa: Floats
    cylinder_gauge_pa: Floats
    cylinder_low_gauge_pa: Floats
    flags: Ints


@dataclass(frozen=True, slots=True)
class Readings:
    """What the instrument shows, one row a tick. NaN where a quantity has no meaning (no supply, no flow)."""

    segment: int
    t_s: Floats
    supply_gauge_pa: Floats
    cylinder_gauge_pa: Floats
    loss_pct: Floats
    loss_at_set_pct: Floats
    leak_area_m2: Floats
    flow_kg_s: Floats
    supply_held: Bools
    stable: Bools
    flags: Ints


# ---- events: each stands at one place of the stream ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of an uncertainty budget: `u` in `unit`, times `sensitivity` (points of loss for each unit of it).

    `degrees_of_freedom` is infinity where the knowledge is not from a sample. Ref: JCGM 100, 5.1 and annex G.
    """

    component: str
    u: float
    unit: str
    sensitivity: float
    degrees_of_freedom: float

    @property
    def contribution_pct(self) -> float:
        """Points of loss, with its sign."""
        return self.sensitivity * self.u


@dataclass(frozen=True, slots=True)
class StableReading:
    """A reading that passed the stability test, with everything another tester can be compared by.

    Means over the window `[t_s - window_s, t_s]`; `u_loss_pct` is the standard uncertainty (k = 1) of the loss,
    `expanded_u_loss_pct` the half-width of its 95 % interval, `coverage_factor` what lies between them. The `u_` of
    converted quantities are standard uncertainties. `noise_pct` is the part of `u_loss_pct` from this window alone.
    `cylinder`, `phase` and `attempt` are filled in by the procedure: None, "" and 0 outside a test.
    """

    segment: int
    t_s: float
    window_s: float
    supply_gauge_pa: float
    cylinder_gauge_pa: float
    loss_pct: float
    u_loss_pct: float
    loss_at_set_pct: float
    reference_loss_pct: float
    area_ratio: float
    leak_area_m2: float
    leak_diameter_m: float
    flow_kg_s: float
    flow_anr_m3_s: float
    calibration_id: str
    cylinder: int | None = None
    phase: str = ""
    attempt: int = 0
    expanded_u_loss_pct: float = float("nan")
    coverage_factor: float = float("nan")
    degrees_of_freedom: float = float("inf")
    noise_pct: float = float("nan")
    u_area_ratio: float = float("nan")
    u_leak_area_m2: float = float("nan")
    u_flow_kg_s: float = float("nan")
    u_reference_loss_pct: float = float("nan")
    budget: tuple[Contribution, ...] = ()


@dataclass(frozen=True, slots=True)
class Tap:
    """A short opening of a valve, seen as a dip of the cylinder pressure that recovered while the supply held.

    `t_s` is the end of the recovery, `onset_s` the start of the dip, `depth_pa` the fall to the lowest sample.
    """

    segment: int
    t_s: float
    onset_s: float
    depth_pa: float
    recovery_s: float


class TapVerdict(StrEnum):
    IMPROVED = "improved"
    NO_CHANGE = "no-change"
    WORSE = "worse"
    CANNOT_TELL = "cannot-tell"


@dataclass(frozen=True, slots=True)
class TapEffect:
    """What taps did to a cylinder: the stable loss before and after, and the difference with its own uncertainty.

    `u_change_pct` knows that most errors of the sensors are the same before and after. `probability` is that of the
    verdict.
    """

    segment: int
    t_s: float
    cylinder: int | None
    taps: int
    before_pct: float
    after_pct: float
    change_pct: float
    u_change_pct: float
    verdict: TapVerdict
    probability: float


@dataclass(frozen=True, slots=True)
class Expectation:
    """Where the loss will end, told while the cylinder still fills; never a stable reading. 95 % interval."""

    segment: int
    t_s: float
    loss_pct: float
    low_pct: float
    high_pct: float
    volume_m3: float
    u_volume_m3: float


@dataclass(frozen=True, slots=True)
class ZeroCheck:
    """Both channels were vented for long enough: how far they were from zero, and whether that was adjusted."""

    segment: int
    t_s: float
    supply_shift_pa: float
    cylinder_shift_pa: float
    adjusted: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Fault:
    """Something is wrong with line, sensors or engine: what was seen, and what to do. `over` ends an earlier one."""

    segment: int
    t_s: float
    fault: str
    seen: str
    todo: str
    over: bool = False


class SupplyState(StrEnum):
    HELD = "held"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class SupplyChange:
    """The supply came into its band and stayed, or left it; `reason` says how."""

    segment: int
    t_s: float
    state: SupplyState
    supply_gauge_pa: float
    set_point_pa: float
    reason: str


class AirState(StrEnum):
    ON = "on"
    OFF = "off"


@dataclass(frozen=True, slots=True)
class AirChange:
    """The cylinder side came under pressure (a cylinder is connected) or was vented."""

    segment: int
    t_s: float
    state: AirState
    cylinder_gauge_pa: float


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples that the board counted and the host did not get."""

    segment: int
    t_s: float
    missing: int


@dataclass(frozen=True, slots=True)
class BadLines:
    """Rejected lines since the last tick: how many for each reason, and the first of them as evidence."""

    segment: int
    t_s: float
    counts: Mapping[str, int]
    evidence: bytes


@dataclass(frozen=True, slots=True)
class Restarted:
    """The board announced a boot, or its clock went back; `segment` is the new one."""

    segment: int
    t_s: float
    cause: str
    boot_count: int | None


@dataclass(frozen=True, slots=True)
class LinkChange:
    """The line is up (with the board that answered) or down (with the reason)."""

    segment: int
    t_s: float
    up: bool
    reason: str
    board: Board | None


@dataclass(frozen=True, slots=True)
class Marked:
    """A mark of the operator at its place in the stream; `source` is `operator` or `board`."""

    segment: int
    t_s: float
    kind: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class BoardFault:
    """The board said something is wrong: a flag of its samples came up, or a command was refused."""

    segment: int
    t_s: float
    fault: str
    detail: str


@dataclass(frozen=True, slots=True)
class SoftStep:
    """The cylinder stood at a low pressure for a while and nothing moved: the crank holds, so far."""

    segment: int
    t_s: float
    supply_gauge_pa: float
    cylinder_gauge_pa: float


@dataclass(frozen=True, slots=True)
class TestStarted:
    """A test began; `plan` is the whole of what it goes by, as JSON (see daq/procedure/plan.py)."""

    __test__: ClassVar[bool] = False  # the name is a garage word, not a test of this project
    segment: int
    t_s: float
    test: str
    engine: str
    plan: str


@dataclass(frozen=True, slots=True)
class Session:
    """Where the test of the engine stands: `next_cylinder` is None at the end of the order."""

    segment: int
    t_s: float
    engine: str
    cylinder: int | None
    phase: str
    next_cylinder: int | None
    test: str = ""
    done: tuple[int, ...] = ()
    skipped: tuple[int, ...] = ()


class Place(StrEnum):
    """Where air that leaks can come out."""

    INTAKE = "intake"
    EXHAUST = "exhaust"
    CRANKCASE = "crankcase"
    COOLANT = "coolant"
    NEXT_CYLINDER = "next-cylinder"
    ELSEWHERE = "elsewhere"


class Strength(StrEnum):
    NONE = "none"
    FAINT = "faint"
    CLEAR = "clear"


@dataclass(frozen=True, slots=True)
class Finding:
    """What the operator heard or saw while `cylinder` was under air; `number` counts the findings of the test.

    `neighbour` is the plug hole of another cylinder that the air came out of, where `place` says so.
    """

    segment: int
    t_s: float
    number: int
    cylinder: int
    place: Place
    strength: Strength
    neighbour: int | None = None
    note: str = ""


class TakenBack(StrEnum):
    RESULT = "result"
    ATTEMPT = "attempt"
    SKIP = "skip"
    FINDING = "finding"


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """Something does not count any more: the result or an unfinished attempt at a cylinder, that it was skipped, or a
    finding. `number` is that of the attempt or of the finding; nothing of it is deleted."""

    segment: int
    t_s: float
    what: TakenBack
    cylinder: int
    number: int
    reason: str


class CueLevel(StrEnum):
    """How urgent a cue is: news, something to do now, beware, and danger."""

    NEWS = "news"
    DO = "do"
    CAUTION = "caution"
    ALARM = "alarm"


@dataclass(frozen=True, slots=True)
class Cue:
    """Something to be told aloud. `cue` names it, `values` fill its words in any language, `text` is the English."""

    segment: int
    t_s: float
    cue: str
    level: CueLevel
    text: str
    cylinder: int | None = None
    values: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CylinderDone:
    """A cylinder was vented after at least one capture. Losses are at the set point.

    `attempt` counts how often this cylinder has been put under air in this test, from 1.
    """

    segment: int
    t_s: float
    cylinder: int
    as_found: StableReading
    after_tap: StableReading | None
    taps: int
    attempt: int = 1


@dataclass(frozen=True, slots=True)
class TestDone:
    """The last cylinder of the order is done, or the operator ended the test before (`complete` False)."""

    __test__: ClassVar[bool] = False
    segment: int
    t_s: float
    engine: str
    cylinders: tuple[CylinderDone, ...] = field(default_factory=tuple)
    test: str = ""
    skipped: tuple[int, ...] = ()
    complete: bool = True


Event = (
    StableReading
    | Tap
    | TapEffect
    | Expectation
    | ZeroCheck
    | Fault
    | SupplyChange
    | AirChange
    | Gap
    | BadLines
    | Restarted
    | LinkChange
    | Marked
    | BoardFault
    | SoftStep
    | TestStarted
    | Session
    | Finding
    | Withdrawn
    | Cue
    | CylinderDone
    | TestDone
)
Record = Samples | Readings | Event


@dataclass(frozen=True, slots=True)
class Delivery:
    """What one step of the pipeline hands to every sink, in the order of the stream."""

    records: tuple[Record, ...]
    utc_offset_s: Mapping[int, float]
    """For each segment named in `records`: what to add to its `t_s` to get seconds since 1970, UTC."""

    def utc_s(self, record: Event) -> float:
        return self.utc_offset_s[record.segment] + record.t_s


# ---- what a measurement needs to know of the bench -------------------------------------------------------------


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
