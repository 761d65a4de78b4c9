"""Arrays: one row a sample, then one row a tick."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


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
