"""The restrictor measured by known jets at the outlet.

In the steady state the restrictor passes what the jet passes, at one gas temperature, so that
`A_r N(p2/p1; b) = A_j p2 N(pa/p2) / p1` (absolute pressures, N: `orifice.flow_function`). The jet may be choked or not.
C and b of ISO 6358-1 follow by least squares; N is the curve that readings are made with, which differs from the
ellipse of the standard by 0.3 % at most.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from daq.calibrate.jets import U_CD, JetPoint, flows, refuse_no_flow
from daq.errors import DataError
from daq.measure import orifice
from daq.records import Floats, Instrument, RestrictorCalibration

FEWEST = 3
RESTRICTOR_CD = (0.4, 1.05)
CONTRADICTS = 4.0
LEAST_DOUBT = 0.005
"""Relative; jets that agree better than this do so by chance."""
_B_RANGE = (0.1, 0.6)
_U_B_MOST = 0.1
_GOLDEN = (math.sqrt(5) - 1) / 2
_STEP = 1e-4


@dataclass(frozen=True, slots=True)
class RestrictorResult:
    """`residual` is that of the flow, relative, one a point; `discharge_coefficient` goes with the nominal bore."""

    restrictor: RestrictorCalibration
    points: tuple[JetPoint, ...]
    pressure_ratio: tuple[float, ...]
    relative_flow: tuple[float, ...]
    residual: tuple[float, ...]
    discharge_coefficient: float


def calibrate_restrictor(
    points: Sequence[JetPoint], instrument: Instrument, made_s: float, u_loss_pct: float, u_shared: float = U_CD
) -> RestrictorResult:
    """C and b with their covariance. `u_loss_pct`: standard uncertainty of a loss, points; `u_shared`: relative, of
    what all jets have in common, their kind of edge. DataError, and no result, for points that cannot tell them."""
    _refuse_few(points)
    ratio, flow = flows(points, instrument)
    u = _doubt(points, ratio, flow, instrument.critical_ratio, u_loss_pct)
    b = _least(lambda b: _area_and_chi2(b, ratio, flow, u)[1], *_B_RANGE)
    area, chi2 = _area_and_chi2(b, ratio, flow, u)
    fitted = area * orifice.flow_function(ratio, b)
    bend = (orifice.flow_function(ratio, b + _STEP) - orifice.flow_function(ratio, b - _STEP)) * area / (2 * _STEP)
    weighted = np.column_stack([fitted, bend]) / u[:, None]
    _refuse_contradiction(points, (flow - fitted) / u)
    _refuse_strange(b)
    _refuse_alike(weighted)
    _refuse_bore(area, instrument)
    spare = len(points) - 2
    return RestrictorResult(
        _restrictor(area, b, weighted, chi2 / spare, spare, made_s, u_shared),
        tuple(points),
        tuple(ratio.tolist()),
        tuple((flow / area).tolist()),
        tuple((flow / fitted - 1).tolist()),
        area / orifice.circle_area(instrument.restrictor_diameter_m),
    )


def _restrictor(
    area_m2: float, b: float, weighted: Floats, scatter: float, spare: int, made_s: float, u_shared: float
) -> RestrictorCalibration:
    """`weighted`: derivatives by the logarithm of the area and by b, over the doubt. More scatter than was stated
    widens the covariance, less does not narrow it. What the jets share moves the area alone."""
    covariance = np.linalg.inv(weighted.T @ weighted) * max(scatter, 1.0)
    u_log_area, u_b = math.sqrt(covariance[0, 0] + u_shared**2), math.sqrt(covariance[1, 1])
    conductance = orifice.sonic_conductance(area_m2)
    return RestrictorCalibration(
        restrictor_id="",
        made_s=made_s,
        conductance_m3_s_pa=conductance,
        critical_ratio=b,
        u_conductance_m3_s_pa=conductance * u_log_area,
        u_critical_ratio=u_b,
        correlation=float(covariance[0, 1]) / (u_log_area * u_b),
        degrees_of_freedom=float(spare) if scatter > 1 else math.inf,
    )


def _doubt(points: Sequence[JetPoint], ratio: Floats, flow: Floats, b: float, u_loss_pct: float) -> Floats:
    """Standard uncertainty of `flow`: of the jets' own, and of the pressures through the slope of the curve."""
    own = np.hypot([point.jet.u_own for point in points], LEAST_DOUBT)
    up, down = orifice.flow_function(ratio + _STEP, b), orifice.flow_function(ratio - _STEP, b)
    steep = np.abs(up - down) / (2 * _STEP) / np.maximum(orifice.flow_function(ratio, b), 1e-3)
    doubt: Floats = flow * np.hypot(own, steep * u_loss_pct / 100)
    return doubt


def _area_and_chi2(critical_ratio: float, ratio: Floats, flow: Floats, u: Floats) -> tuple[float, float]:
    """With b given the area follows linearly."""
    curve, seen = orifice.flow_function(ratio, critical_ratio) / u, flow / u
    area = float((curve * seen).sum() / (curve * curve).sum())
    return area, float(((seen - area * curve) ** 2).sum())


def _least(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a function of one valley is least, by golden section."""
    inner, outer = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_inner, at_outer = function(inner), function(outer)
    for _ in range(60):
        if at_inner < at_outer:
            high, outer, at_outer = outer, inner, at_inner
            inner = high - _GOLDEN * (high - low)
            at_inner = function(inner)
        else:
            low, inner, at_inner = inner, outer, at_outer
            outer = low + _GOLDEN * (high - low)
            at_outer = function(outer)
    return 0.5 * (low + high)


# ---- what cannot be


def _refuse_few(points: Sequence[JetPoint]) -> None:
    if len(points) < FEWEST:
        raise DataError(
            f"{len(points)} jets cannot tell the conductance and the critical ratio of a restrictor.",
            f"Measure at least {FEWEST} jets, from a small to a large loss. The calibration in force stays.",
        )
    refuse_no_flow(points)


def _refuse_alike(weighted: Floats) -> None:
    """Whether b can be told: by the information matrix alone, before any scatter."""
    information = weighted.T @ weighted
    rest = information[1, 1] - information[0, 1] ** 2 / information[0, 0]
    if rest * _U_B_MOST**2 < 1:
        raise DataError(
            "The jets are too much alike: they do not tell the critical ratio of the restrictor.",
            "Add a small jet (about 5 % loss) and one that reads more than 40 %. The calibration in force stays.",
        )


def _refuse_contradiction(points: Sequence[JetPoint], standardised: Floats) -> None:
    worst = int(np.abs(standardised).argmax())
    if abs(standardised[worst]) > CONTRADICTS:
        raise DataError(
            f"Jet {worst + 1} contradicts the others.",
            "Check its diameter, its discharge coefficient and that it is clean, and measure it again. "
            "The calibration in force stays.",
            f"{points[worst].loss_pct:.2f} % loss, {abs(standardised[worst]):.1f} standard uncertainties off the curve",
        )


def _refuse_strange(critical_ratio: float) -> None:
    if min(critical_ratio - _B_RANGE[0], _B_RANGE[1] - critical_ratio) < _STEP:
        raise DataError(
            f"No restrictor has the curve that these jets draw: its critical ratio would leave {_B_RANGE[0]} to "
            f"{_B_RANGE[1]}.",
            "Check each jet's diameter and discharge coefficient, and that the supply stood still. "
            "The calibration in force stays.",
        )


def _refuse_bore(area_m2: float, instrument: Instrument) -> None:
    cd = area_m2 / orifice.circle_area(instrument.restrictor_diameter_m)
    if not RESTRICTOR_CD[0] <= cd <= RESTRICTOR_CD[1]:
        raise DataError(
            f"By these jets the restrictor would have a discharge coefficient of {cd:.3g}, which cannot be.",
            "Check the units of the jets' diameters and [instrument] restrictor_in. The calibration in force stays.",
        )
