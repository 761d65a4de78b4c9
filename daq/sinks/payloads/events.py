"""The messages of the `event` topic: one model for each `kind`, in plain words."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from daq.procedure.plan import Temperature
from daq.records import CueLevel, Place, Strength, TakenBack, TapVerdict
from daq.sinks.payloads.fields import Count, CubicCentimetre, Pascal, Percent, Ratio, Second, Shown
from daq.sinks.payloads.models import ORDER, BoardMessage


class TapEvent(BoardMessage):
    """A valve was opened for a moment; `t` is the end of the recovery."""

    kind: Literal["tap"] = "tap"
    onset_s: Annotated[Second, Field(description="On the clock of `mono_s`")]
    depth_pa: Pascal
    recovery_s: Second
    depth_shown: Shown
    shown_unit: str


class TapEffectEvent(BoardMessage):
    """What the taps did: the stable loss before and after, and how sure the word for it is."""

    kind: Literal["tap-effect"] = "tap-effect"
    cylinder: Count | None
    taps: Count
    before_pct: Percent
    after_pct: Percent
    change_pct: Percent
    u_change_pct: Percent
    verdict: TapVerdict
    probability: Ratio


class ExpectationEvent(BoardMessage):
    """Where the loss will end, while the cylinder still fills. Not a reading. The interval holds 95 %."""

    kind: Literal["expectation"] = "expectation"
    loss_pct: Percent
    low_pct: Percent
    high_pct: Percent
    volume_cm3: CubicCentimetre
    u_volume_cm3: CubicCentimetre


class ZeroCheckEvent(BoardMessage):
    """Both channels were vented: how far they were from zero, and whether that was taken off."""

    kind: Literal["zero-check"] = "zero-check"
    supply_shift_pa: Pascal
    cylinder_shift_pa: Pascal
    adjusted: bool
    reason: str
    supply_shift_shown: Shown
    cylinder_shift_shown: Shown
    shown_unit: str


class FaultEvent(BoardMessage):
    """Something is wrong with line, sensors or engine, or (`fault-over`) no longer is."""

    kind: Literal["fault", "fault-over"]
    fault: str
    seen: str
    todo: str


class SupplyEvent(BoardMessage):
    """The supply came into its band and stayed, or left it."""

    kind: Literal["supply-held", "supply-lost"]
    supply_gauge_pa: Pascal
    set_point_pa: Pascal
    reason: str
    supply_gauge_shown: Shown
    shown_unit: str


class AirEvent(BoardMessage):
    """A cylinder was put under pressure, or vented."""

    kind: Literal["air-on", "air-off"]
    cylinder_gauge_pa: Pascal
    cylinder_gauge_shown: Shown
    shown_unit: str


class GapEvent(BoardMessage):
    """Samples that the board counted did not arrive."""

    kind: Literal["gap"] = "gap"
    missing: Count


class BadLinesEvent(BoardMessage):
    """Lines were rejected: how many in all, how many for each reason in words, and a printable piece of the first."""

    kind: Literal["bad-lines"] = "bad-lines"
    rejected: Count
    reasons: Annotated[str, Field(description="`reason=number`, separated by blanks")]
    evidence: str


class BoardRestartedEvent(BoardMessage):
    """The board started anew; `segment` is the new one."""

    kind: Literal["board-restarted"] = "board-restarted"
    cause: str
    boot_count: Count | None


class LinkEvent(BoardMessage):
    """A board answered on the line, or the line was lost."""

    kind: Literal["link-up", "link-down"]
    reason: str
    board: str


class MarkEvent(BoardMessage):
    """Something the operator did, here or at the board."""

    kind: Literal["mark"] = "mark"
    mark: str
    text: str
    source: str


class BoardFaultEvent(BoardMessage):
    """The board said that something is wrong."""

    kind: Literal["board-fault"] = "board-fault"
    fault: str
    detail: str


class SoftStepEvent(BoardMessage):
    """The cylinder stood at a low pressure and nothing moved."""

    kind: Literal["soft-step"] = "soft-step"
    supply_gauge_pa: Pascal
    cylinder_gauge_pa: Pascal
    supply_gauge_shown: Shown
    cylinder_gauge_shown: Shown
    shown_unit: str


class TestStartedEvent(BoardMessage):
    """A test of an engine began. `acknowledged_by` is empty while nobody has acknowledged the cautions."""

    __test__ = False  # the name is a garage word, not a test of this project
    kind: Literal["test-started"] = "test-started"
    test: str
    engine: str
    order: Annotated[str, Field(description=ORDER)]
    temperature: Temperature
    acknowledged_by: str


class FindingEvent(BoardMessage):
    """Where air was heard or seen to come out; `neighbour` is the cylinder of the plug hole, where it was one."""

    kind: Literal["finding"] = "finding"
    number: Count
    cylinder: Count
    place: Place
    strength: Strength
    neighbour: Count | None
    note: str


class WithdrawnEvent(BoardMessage):
    """A result, an attempt, a skip or a finding does not count any more."""

    kind: Literal["withdrawn"] = "withdrawn"
    what: TakenBack
    cylinder: Count
    number: Count
    reason: str


class CueEvent(BoardMessage):
    """Something to be told aloud. `text` is English; `values` (`name=value`, separated by `; `) fill other words."""

    kind: Literal["cue"] = "cue"
    cue: str
    level: CueLevel
    text: str
    values: str
    cylinder: Count | None


class CylinderDoneEvent(BoardMessage):
    """A cylinder was vented after at least one capture. Losses are at the set point; null where none was taken."""

    kind: Literal["cylinder-done"] = "cylinder-done"
    cylinder: Count
    taps: Count
    as_found_loss_pct: Percent
    as_found_u_loss_pct: Percent
    after_tap_loss_pct: Percent
    after_tap_u_loss_pct: Percent
    attempt: Annotated[Count, Field(description="How often this cylinder was put under air in this test")] = 1


class TestDoneEvent(BoardMessage):
    """The last cylinder of the order is done. The worst is the highest loss that was left at the end."""

    __test__ = False  # the name is a garage word, not a test of this project
    kind: Literal["test-done"] = "test-done"
    engine: str
    cylinders: Count
    worst_cylinder: Count | None
    worst_loss_pct: Percent
    test: str = ""
    skipped: Annotated[str, Field(description="Cylinders that were left out, separated by blanks")] = ""
    complete: Annotated[bool, Field(description="No cylinder is missing, but for those left out")] = True


EventMessage = (
    TapEvent
    | TapEffectEvent
    | ExpectationEvent
    | ZeroCheckEvent
    | FaultEvent
    | SupplyEvent
    | AirEvent
    | GapEvent
    | BadLinesEvent
    | BoardRestartedEvent
    | LinkEvent
    | MarkEvent
    | BoardFaultEvent
    | SoftStepEvent
    | TestStartedEvent
    | FindingEvent
    | WithdrawnEvent
    | CueEvent
    | CylinderDoneEvent
    | TestDoneEvent
)
