"""What each MQTT message may carry: one flat JSON object, the same six fields first. The public contract, version 1.

v1 grows by optional fields and new kinds of event only, so a reader ignores what it does not know. (bench, boot,
stream, seq) is the identity of a message: one that comes twice is to be taken once.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field

from daq.procedure.plan import Temperature
from daq.procedure.verdict import Verdict as Word
from daq.records import LineFormat, MarkKind, ReferenceMode
from daq.sinks.payloads.fields import (
    Bytes,
    Count,
    GramPerSecond,
    Hertz,
    Kelvin,
    LitrePerMinute,
    Millimetre,
    Pascal,
    Percent,
    Ratio,
    Second,
    Shown,
    SquareMillimetre,
)
from daq.sinks.topics import NAME

Name = Annotated[str, Field(pattern=f"^{NAME.pattern}$")]
Text = Annotated[str, Field(max_length=500)]
CommandId = Annotated[str, Field(min_length=1, max_length=64)]
UtcTime = Annotated[
    str,
    Field(
        pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z$",
        json_schema_extra={"format": "date-time"},
        description="RFC 3339, UTC. Of the newest sample that the message speaks of; else of the message itself",
    ),
]


def _date_and_time(value: object) -> object:
    """RFC 3339 text only: pydantic alone would take a bare number for seconds since 1970 as well."""
    if not isinstance(value, str) or "-" not in value[:5]:
        raise ValueError("must be a time like 2030-01-31T23:59:59Z")
    return value


Deadline = Annotated[AwareDatetime, BeforeValidator(_date_and_time)]
SEQ = "Counts the messages of this stream since `boot`. Retained topics may skip numbers: only the newest state is sent"
ORDER = "The cylinders in the order of the test, with dashes"
HALF = "Half-width of the 95 % interval of the loss"
Availability = Literal["online", "offline"]


class Message(BaseModel):
    """The head that every message has."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    v: Literal[1] = 1
    bench: Name
    boot: Annotated[str, Field(min_length=1, description="Names one run of the daemon")]
    seq: Annotated[Count, Field(description=SEQ)]
    t: UtcTime
    mono_s: Annotated[
        Second,
        Field(
            description="A clock that never jumps: with `segment`, the board's own, counted from the start of that "
            "segment; without, the daemon's, counted from its start"
        ),
    ]


class BoardMessage(Message):
    """The head of what was measured. A segment begins when the board is connected or restarts."""

    segment: Count


class Live(BoardMessage):
    """What the instrument shows now; worth nothing once `ttl_s` has passed."""

    supply_gauge_pa: Pascal
    cylinder_gauge_pa: Pascal
    loss_pct: Percent
    loss_at_set_pct: Percent
    leak_area_mm2: SquareMillimetre
    flow_g_s: GramPerSecond
    supply_held: bool
    stable: bool
    flags: Annotated[Count, Field(description="The board's flags of the newest samples, as in its protocol")]
    cylinder: Count | None
    phase: str
    ttl_s: Second
    supply_gauge_shown: Shown
    cylinder_gauge_shown: Shown
    shown_unit: str


class Session(BoardMessage):
    """Where the test of the engine stands. `cylinder` is null when it is done, `next_cylinder` at the last one."""

    engine: str
    cylinder: Count | None
    phase: str
    next_cylinder: Count | None
    test: str = ""
    done: Annotated[str, Field(description="Cylinders with a result, separated by blanks")] = ""
    skipped: Annotated[str, Field(description="Cylinders that were left out, separated by blanks")] = ""
    order: Annotated[str, Field(description=ORDER)] = ""
    can_undo: Annotated[bool, Field(description="There is something that `undo` would take back now")] = True


class Reading(BoardMessage):
    """A reading that passed the stability test: means over `window_s` up to `t`. `u_loss_pct` is one standard
    uncertainty (k = 1). `last/<cylinder>` holds a copy of the newest one."""

    id: str
    cylinder: Count | None
    phase: str
    loss_pct: Percent
    u_loss_pct: Percent
    loss_at_set_pct: Percent
    reference_loss_pct: Annotated[Percent, Field(description="What the restrictor of AC 43.13-1B would read at 80 psi")]
    supply_gauge_pa: Pascal
    cylinder_gauge_pa: Pascal
    area_ratio: Ratio
    leak_area_mm2: SquareMillimetre
    leak_diameter_mm: Millimetre
    flow_g_s: GramPerSecond
    flow_anr_l_min: Annotated[LitrePerMinute, Field(description="At the reference atmosphere ANR of ISO 8778")]
    window_s: Second
    expanded_u_loss_pct: Annotated[Percent, Field(description=HALF)]
    coverage_factor: Ratio
    degrees_of_freedom: Annotated[Ratio, Field(description="null where there is no end to them")]
    u_leak_area_mm2: SquareMillimetre
    u_flow_g_s: GramPerSecond
    u_reference_loss_pct: Percent
    attempt: Annotated[Count, Field(description="How often this cylinder was put under air in this test")] = 0
    calibration_id: str
    supply_gauge_shown: Shown
    cylinder_gauge_shown: Shown
    shown_unit: str


class Verdict(BoardMessage):
    """What counts of a cylinder in the test named, judged: on `verdict/<cylinder>`, anew with each capture and whenever
    something is taken back. Losses are at the set point; null, as a verdict, where there is no reading that counts.

    A probability is that of the verdict, or of the likeliest word where it is too close to call."""

    test: str
    cylinder: Count
    verdict: Annotated[Word | None, Field(description="Of the reading that counts: after taps, if there were any")]
    probability: Ratio
    as_found_verdict: Word | None
    as_found_probability: Ratio
    as_found_loss_pct: Percent
    as_found_expanded_u_loss_pct: Annotated[Percent, Field(description=HALF)]
    after_tap_verdict: Word | None
    after_tap_probability: Ratio
    after_tap_loss_pct: Percent
    after_tap_expanded_u_loss_pct: Annotated[Percent, Field(description=HALF)]
    limits: Annotated[str, Field(description="Their name; the losses are as this instrument reads them")]
    sound_to_pct: Percent
    investigate_from_pct: Percent


class Status(Message):
    """How the daemon and its line are. A daemon that is online with a dead sensor shows here."""

    line: Literal["up", "down", "searching"]
    line_detail: str
    faults: Annotated[str, Field(description="Words separated by blanks; empty when all is well")]
    newest_sample_age_s: Annotated[Second, Field(description="null before the first sample")]
    samples: Count
    missing_samples: Count
    bad_lines: Count
    board_restarts: Count
    dropped_records: Annotated[Count, Field(description="Given up by a sink that did not keep up")]
    queue_depth: Annotated[Count, Field(description="Deliveries that wait for a sink")]
    outbox_depth: Annotated[Count, Field(description="Stored readings and events not yet announced")]
    reconnects: Annotated[Count, Field(description="Connections to the broker since the start, after the first")]
    disk_free_bytes: Bytes
    database_bytes: Bytes


class Describe(Message):
    """What this bench is, and how its messages are to be read."""

    schema_id: str
    software: str
    live_most_per_s: Ratio
    live_ttl_s: Second
    status_each_s: Second
    tick_s: Second
    board: Annotated[str, Field(description="Maker, model, serial number and firmware; empty while none is connected")]
    line_format: LineFormat | None
    adc_bits: Count | None
    reference_mode: ReferenceMode | None
    rate_hz: Hertz
    set_point_pa: Pascal
    supply_band_pa: Pascal
    atmosphere_pa: Pascal
    gas_temperature_k: Kelvin
    restrictor_diameter_mm: Millimetre
    discharge_coefficient: Ratio
    critical_ratio: Ratio
    assumed: Annotated[str, Field(description="What has not been calibrated; words separated by blanks")]
    calibration_id: str
    calibration_origin: str
    calibration_date: str
    supply_full_scale_pa: Pascal
    cylinder_full_scale_pa: Pascal
    supply_accuracy_pa: Pascal
    cylinder_accuracy_pa: Pascal
    unit_pressure: Literal["Pa"] = "Pa"
    unit_loss: Literal["%"] = "%"
    unit_area: Literal["mm2"] = "mm2"
    unit_length: Literal["mm"] = "mm"
    unit_flow: Literal["g/s"] = "g/s"
    unit_flow_anr: Literal["L/min"] = "L/min"
    unit_time: Literal["s"] = "s"
    shown_unit: str


class Command(BaseModel):
    """What a client sends to `command/<verb>`. `text` is the number for `cylinder`, the words for `note` and `heard`.

    All after `text` is for `start` only, and may be left out.
    """

    model_config = ConfigDict(frozen=True, extra="ignore")

    id: Annotated[CommandId, Field(description="A second one of the same id does nothing")]
    deadline: Annotated[Deadline, Field(description="RFC 3339; later than that it is answered as expired")]
    text: Text = ""
    engine: Annotated[str, Field(max_length=32, description="Key of a profile; else the configured engine")] = ""
    test: Annotated[str, Field(max_length=48, description="A name for the test; else one is made of the time")] = ""
    temperature: Temperature = Temperature.UNKNOWN
    acknowledged_by: Annotated[Text, Field(description="Who has read the cautions")] = ""
    soft_step: Annotated[bool, Field(description="The first air of each cylinder is a low pressure")] = False
    hours: Annotated[float | None, Field(ge=0, description="What the engine has run")] = None
    distance_km: Annotated[float | None, Field(ge=0, description="What the engine has run")] = None
    by: Text = ""
    note: Text = ""


class Reply(Message):
    """The answer to a command. `accepted` means that it has entered the pipeline; `reason` may then be a remark."""

    id: Annotated[str | None, Field(description="Of the command; null if that could not be read")]
    verb: str
    status: Literal["accepted", "expired", "refused", "invalid"]
    reason: str


VERBS = tuple(kind.value for kind in MarkKind)
