"""Known jets at the outlet: what is said of them, and what they pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np

from daq.calibrate.points import CONDUCTANCE, LENGTH, NUMBER, PRESSURE, Table
from daq.errors import DataError
from daq.measure import orifice
from daq.records import Floats, Instrument

U_CD = 0.02
"""Relative standard uncertainty of a jet's discharge coefficient where nothing else is said; common to all jets."""
U_DIAMETER_M = 5e-6
"""Standard uncertainty of a jet's diameter where nothing else is said: half a hundredth of a millimetre."""
CD_RANGE = (0.3, 1.0)
DIAMETER_RANGE_M = (0.1e-3, 5e-3)


@dataclass(frozen=True, slots=True)
class Jet:
    """An orifice of known effective area. `u_own` is relative and its own; what all jets share is told beside them."""

    area_m2: float
    u_own: float


@dataclass(frozen=True, slots=True)
class JetPoint:
    """A jet at the outlet, and the steady pressures it gave. Gauge, Pa."""

    jet: Jet
    supply_pa: float
    cylinder_pa: float

    @property
    def loss_pct(self) -> float:
        return 100 * (1 - self.cylinder_pa / self.supply_pa)


def jet_of_diameter(diameter_m: float, cd: float, u_diameter_m: float = U_DIAMETER_M, number: int = 1) -> Jet:
    """DataError, naming the jet by its number, for one that cannot be."""
    if not DIAMETER_RANGE_M[0] <= diameter_m <= DIAMETER_RANGE_M[1]:
        raise _no_jet(
            number, f"a diameter of {diameter_m * 1e3:.3g} mm", "0.1 mm to 5 mm; is the unit in the header right?"
        )
    if not CD_RANGE[0] < cd <= CD_RANGE[1]:
        raise _no_jet(
            number, f"a discharge coefficient of {cd:.3g}", "0.3 to 1: about 0.6 for a sharp edge, 0.8 for a bore"
        )
    return Jet(cd * orifice.circle_area(diameter_m), 2 * u_diameter_m / diameter_m)


def jet_of_conductance(conductance: float, u_own: float = 0.0, number: int = 1) -> Jet:
    """`conductance`: C of ISO 6358-1, m3/(s Pa). DataError for one that cannot be."""
    area_m2 = orifice.effective_area(conductance) if conductance > 0 else 0.0
    if not orifice.circle_area(DIAMETER_RANGE_M[0]) / 4 <= area_m2 <= orifice.circle_area(DIAMETER_RANGE_M[1]):
        raise _no_jet(number, f"a conductance of {conductance * 1e8:.3g} dm3/(s bar)", "0.0004 to 3.9 dm3/(s bar)")
    return Jet(area_m2, u_own)


def jet_points(table: Table) -> list[JetPoint]:
    """Columns `supply_<unit>`, `cylinder_<unit>`, and for the jet `diameter_<unit>` with `cd`, or `conductance_<unit>`;
    `u_diameter_<unit>` if it is known. DataError, naming the jet, for what cannot be."""
    supply, cylinder = table.need("supply", PRESSURE), table.need("cylinder", PRESSURE)
    return [JetPoint(*row) for row in zip(_jets(table), supply.tolist(), cylinder.tolist(), strict=True)]


def _jets(table: Table) -> list[Jet]:
    conductance = table.take("conductance", CONDUCTANCE)
    if conductance is not None:
        return [jet_of_conductance(c, number=n) for n, c in enumerate(conductance.tolist(), 1)]
    diameter, cd = table.need("diameter", LENGTH), table.need("cd", NUMBER)
    u_diameter = table.take("u_diameter", LENGTH)
    u = np.full(len(cd), U_DIAMETER_M) if u_diameter is None else u_diameter
    return [jet_of_diameter(*row) for row in zip(diameter.tolist(), cd.tolist(), u.tolist(), count(1))]


def flows(points: Sequence[JetPoint], instrument: Instrument) -> tuple[Floats, Floats]:
    """p2/p1, and the flow of the jet as an area at the supply pressure: what the restrictor's curve is laid through."""
    atmosphere = instrument.atmosphere_pa
    supply, cylinder = np.array([(p.supply_pa + atmosphere, p.cylinder_pa + atmosphere) for p in points]).T
    area = np.array([point.jet.area_m2 for point in points])
    return cylinder / supply, area * cylinder / supply * orifice.flow_function(atmosphere / cylinder)


def refuse_no_flow(points: Sequence[JetPoint]) -> None:
    for number, point in enumerate(points, 1):
        if not 0 < point.cylinder_pa < point.supply_pa:
            raise DataError(
                f"Jet {number} cannot be: with a flow the cylinder side lies between vented and the supply.",
                "Check the columns supply and cylinder and their units. The calibration in force stays.",
                f"supply {point.supply_pa:.0f} Pa, cylinder {point.cylinder_pa:.0f} Pa",
            )


def _no_jet(number: int, what: str, allowed: str) -> DataError:
    return DataError(
        f"Jet {number} cannot be: no jet has {what}.", f"Allowed is {allowed}. The calibration in force stays."
    )
