"""Events that are seen in the pressures."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


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

    @property
    def half_width_pct(self) -> float:
        """Of the 95 % interval; twice the standard uncertainty where no better one was worked out."""
        stated_pct = self.expanded_u_loss_pct
        return 2 * self.u_loss_pct if math.isnan(stated_pct) else stated_pct


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
class SoftStep:
    """The cylinder stood at a low pressure for a while and nothing moved: the crank holds, so far."""

    segment: int
    t_s: float
    supply_gauge_pa: float
    cylinder_gauge_pa: float
