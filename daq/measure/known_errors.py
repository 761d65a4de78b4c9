"""Every error that a reading can have, by name, and what each does to the loss.

Each error is independent of all others: correlated ones (zero and span of one fit, offset and gain of a pairing, C and
b of a restrictor) are written as sums of independent ones first, so that the lines of a budget add as squares. An
error that both channels share stands in both pressures at once, and cancels in the loss as far as it really does.

Indicated pressures are true ones plus e1(p1) and e2(p2). Without pairing e1 and e2 have only the reference gauge in
common. A pairing replaces the cylinder's own line: its error is then that of the supply channel at the same pressure,
e1(p2), plus what the pairing does not know. So a span error of the supply channel cancels in L = 100 (1 - p2/p1), and
a zero error z leaves -L z/p1. Limits of a data sheet do not say which they are, and count as zero error, the worse;
beside it a bow may lie, which is nothing at zero.

Hysteresis is one error of both channels: they are on one line of air and rise and fall together, so they are at one
place of their loops, wherever that is. What it does to the loss is the difference of the two widths.
Ref: JCGM 100, 5.2 and F.1.2.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from daq.measure import uncertainty
from daq.measure.uncertainty import rectangular
from daq.records import Calibration, ChannelCalibration, Floats, Instrument, Pairing, RestrictorCalibration

Noise = tuple[float, float, float]
"""Standard uncertainties of both means from the window alone, Pa, and their degrees of freedom."""
HYSTERESIS_OF_CLASS = 0.2
"""Greatest width between up and down, as a part of the accuracy of the data sheet, before it is calibrated: common
practice, no source."""
BOW_OF_CLASS = 0.5
"""Greatest height of the middle of the range above the line through its ends, before it is calibrated: as above."""
_DAY_S, _YEAR_S = 86_400.0, 365.25 * 86_400.0
_UNRELATED = 0.354
"""Part of full scale after which what a straight line leaves of a channel is unrelated: between middle and end of a
bow, the usual shape of it (common practice, no source)."""
_CURVE = 0.003
"""Greatest difference of the flow between the ellipse of ISO 6358-1 and the isentropic curve used here, relative."""
_PLACE = rectangular(0.5)
"""Place in the loop of hysteresis, from the middle of it, in widths."""


@dataclass(frozen=True, slots=True)
class Error:
    """One independent error at its standard uncertainty `u`: how far it moves each input of the measurement.

    `supply` and `cylinder` in Pa, `atmosphere` in Pa, `temperature` in K, `area` of the restrictor relative.
    """

    component: str
    u: float
    unit: str
    degrees: float = math.inf
    supply: float = 0.0
    cylinder: float = 0.0
    atmosphere: float = 0.0
    temperature: float = 0.0
    area: float = 0.0
    critical_ratio: float = 0.0


def errors(
    supply_pa: float,
    cylinder_pa: float,
    noise: Noise,
    resolution_pa: float,
    calibration: Calibration,
    instrument: Instrument,
    at_s: float,
    zeroed: bool = False,
) -> list[Error]:
    """All errors of both pressures and of what converts them; those of zero size are left out.

    `noise` is never below what `resolution_pa`, one count, allows to see: where it is not averaged out, that part is
    told apart. `at_s`: seconds since 1970, for the ages of the records. `zeroed`: the vented zero was taken off. That
    helps where channels are paired: zero and drift of the scale that they share are gone, and its slope cancels. Of a
    channel alone it gets no credit, for limits do not say how much of them is zero and how much slope.
    """
    pairing = calibration.pairing
    at_pa = (supply_pa, cylinder_pa)
    channels = (
        (
            *_scale(at_pa, calibration.supply, at_s, resolution_pa if zeroed else None),
            *_paired(at_pa, calibration.supply, calibration.cylinder, pairing, at_s),
        )
        if pairing
        else _unpaired(at_pa, calibration.supply, calibration.cylinder, at_s)
    )
    all_errors = (*channels, *_window(noise, resolution_pa), *_surroundings(instrument, calibration.restrictor))
    return [error for error in all_errors if error.u > 0]


def displacements(found: Iterable[Error]) -> Floats:
    """The errors as an array: shape (errors, 6), columns supply, cylinder, atmosphere, temperature, area, b."""
    rows = [(e.supply, e.cylinder, e.atmosphere, e.temperature, e.area, e.critical_ratio) for e in found]
    return np.array(rows, np.float64)


def calibrated(channel: ChannelCalibration) -> bool:
    """Against a gauge; otherwise the limits of its data sheet are all that is known."""
    return channel.u_zero_pa is not None


def _unpaired(
    at_pa: tuple[float, float], supply: ChannelCalibration, cylinder: ChannelCalibration, at_s: float
) -> Iterator[Error]:
    for line in _line(supply, at_s):
        yield line.error("supply", supply=line.at(at_pa[0]))
    for line in _line(cylinder, at_s):
        yield line.error("cylinder", cylinder=line.at(at_pa[1]))
    shared = max(supply.u_reference_span, cylinder.u_reference_span)
    moved = supply.u_reference_span * at_pa[0], cylinder.u_reference_span * at_pa[1]
    yield Error("reference gauge", shared, "1", supply=moved[0], cylinder=moved[1])
    for name, channel in (("supply", supply), ("cylinder", cylinder)):
        yield _of_one(name, "nonlinearity", _bow_pa(channel))
    yield _hysteresis(supply, cylinder)


def _paired(
    at_pa: tuple[float, float],
    supply: ChannelCalibration,
    cylinder: ChannelCalibration,
    pairing: Pairing,
    at_s: float,
) -> Iterator[Error]:
    """All but the zero of the scale of the supply channel, which the cylinder channel is read on."""
    shared = supply.u_reference_span
    yield Error("reference gauge", shared, "1", supply=shared * at_pa[0], cylinder=shared * at_pa[1])
    yield from _bow(at_pa, supply) if calibrated(supply) else _bow_of_class(at_pa, supply)
    yield _hysteresis(supply, cylinder)
    yield _unknown_hysteresis(supply, cylinder)
    (gain, carried_pa), (_, offset_pa) = _two(pairing.u_gain, pairing.u_offset_pa, pairing.correlation)
    degrees = pairing.degrees_of_freedom
    yield Error("pairing: offset", offset_pa, "Pa", degrees, cylinder=offset_pa)
    yield Error("pairing: gain", gain, "1", degrees, cylinder=carried_pa + gain * at_pa[1])
    yield Error("pairing: residual", pairing.residual_pa, "Pa", degrees, cylinder=pairing.residual_pa)
    drift_pa = rectangular(pairing.drift_pa_per_day * abs(at_s - pairing.made_s) / _DAY_S)
    yield Error("pairing drift", drift_pa, "Pa", cylinder=drift_pa)


def _scale(
    at_pa: tuple[float, float], supply: ChannelCalibration, at_s: float, zeroed_to_pa: float | None
) -> Iterator[Error]:
    """Errors of the supply channel that stand in both pressures; its bow and hysteresis apart.

    With its zero taken off, as well as one count `zeroed_to_pa` lets it be seen, what is left is that it was vented
    from above: the zero then seen lies up to the whole loop of hysteresis above that of rising pressure.
    """
    if zeroed_to_pa is None:
        for line in _line(supply, at_s):
            yield line.error("supply", supply=line.at(at_pa[0]), cylinder=line.at(at_pa[1]))
        return
    loop_pa = supply.hysteresis_pa if calibrated(supply) else HYSTERESIS_OF_CLASS * supply.accuracy_pa
    u_pa = math.hypot(rectangular(loop_pa), zeroed_to_pa / math.sqrt(12))
    yield Error("supply zero as vented", u_pa, "Pa", supply=u_pa, cylinder=u_pa)


@dataclass(frozen=True, slots=True)
class _Line:
    """An error of one channel that is a straight line of pressure: its value at zero and its slope, each for one u."""

    component: str
    u: float
    unit: str
    degrees: float
    zero_pa: float
    slope: float = 0.0

    def at(self, gauge_pa: float) -> float:
        return self.zero_pa + self.slope * gauge_pa

    def error(self, name: str, supply: float = 0.0, cylinder: float = 0.0) -> Error:
        return Error(f"{name} {self.component}", self.u, self.unit, self.degrees, supply, cylinder)


def _line(channel: ChannelCalibration, at_s: float) -> Iterator[_Line]:
    """What may be wrong with the line of a channel, the reference gauge left out.

    The span carries with it what the fit says of zero and span together; the zero is what is left then.
    """
    if channel.u_zero_pa is None:
        limits_pa = rectangular(channel.accuracy_pa)
        yield _Line("class", limits_pa, "Pa", math.inf, limits_pa)
        return
    own = math.sqrt(max(channel.u_span**2 - channel.u_reference_span**2, 0.0))
    r = max(-1.0, min(1.0, channel.zero_span_correlation * channel.u_span / own)) if own > 0 else 0.0
    (slope, carried_pa), (_, zero_pa) = _two(own, channel.u_zero_pa, r)
    yield _Line("line: zero", zero_pa, "Pa", channel.degrees_of_freedom, zero_pa)
    yield _Line("line: span", slope, "1", channel.degrees_of_freedom, carried_pa, slope)
    drift_pa = rectangular(channel.drift_pa_per_year * abs(at_s - channel.made_s) / _YEAR_S)
    yield _Line("drift", drift_pa, "Pa", math.inf, drift_pa)


def _two(first: float, second: float, correlation: float) -> list[list[float]]:
    """Two correlated inputs as two independent errors; see `uncertainty.independent`."""
    both: list[list[float]] = uncertainty.independent(
        (first, second), ((1.0, correlation), (correlation, 1.0))
    ).tolist()
    return both


def _of_one(name: str, component: str, u_pa: float, degrees: float = math.inf) -> Error:
    """An error of one channel alone."""
    moved = (u_pa, 0.0) if name == "supply" else (0.0, u_pa)
    return Error(f"{name} {component}", u_pa, "Pa", degrees, *moved)


def _hysteresis(supply: ChannelCalibration, cylinder: ChannelCalibration) -> Error:
    """Half of the greatest difference between up and down, either way, of both channels at once; of one that was not
    calibrated it is in the class."""
    moved = [_PLACE * channel.hysteresis_pa if calibrated(channel) else 0.0 for channel in (supply, cylinder)]
    return Error("hysteresis", _PLACE if any(moved) else 0.0, "1", supply=moved[0], cylinder=moved[1])


def _unknown_hysteresis(supply: ChannelCalibration, cylinder: ChannelCalibration) -> Error:
    """Pairing leaves the difference of two widths, each anywhere up to its limit where it was not calibrated."""
    limits_pa = (HYSTERESIS_OF_CLASS * each.accuracy_pa for each in (supply, cylinder) if not calibrated(each))
    u_pa = _PLACE * math.hypot(*(rectangular(0.5 * limit_pa) for limit_pa in limits_pa))
    return Error("difference of hysteresis", u_pa, "Pa", cylinder=u_pa)


def _bow_pa(channel: ChannelCalibration) -> float:
    return rectangular(channel.nonlinearity_pa) if calibrated(channel) else 0.0


def _bow(at_pa: tuple[float, float], supply: ChannelCalibration) -> Iterator[Error]:
    """What the line leaves of the supply channel, at both pressures: the same where they are equal."""
    u_pa = _bow_pa(supply)
    apart = (at_pa[0] - at_pa[1]) / (_UNRELATED * supply.full_scale_pa)
    r = max(0.0, 1.0 - apart * apart)
    rest_pa = u_pa * math.sqrt(1.0 - r * r)
    yield Error("supply nonlinearity", u_pa, "Pa", supply=u_pa, cylinder=r * u_pa)
    yield Error("supply nonlinearity between the two", rest_pa, "Pa", cylinder=rest_pa)


def _bow_of_class(at_pa: tuple[float, float], supply: ChannelCalibration) -> Iterator[Error]:
    """A parabola through both ends of the range: what it does to both pressures, which is not the same."""
    u_pa = rectangular(BOW_OF_CLASS * supply.accuracy_pa)
    parts = [each_pa / supply.full_scale_pa for each_pa in at_pa]
    moved = [4 * u_pa * part * (1 - part) for part in parts]
    yield Error("supply bow", u_pa, "Pa", supply=moved[0], cylinder=moved[1])


def _window(noise: Noise, resolution_pa: float) -> Iterator[Error]:
    """The window's own; a mean that noise does not carry across a count is as uncertain as the count."""
    count_pa = resolution_pa / math.sqrt(12)
    for name, u_pa in (("supply", noise[0]), ("cylinder", noise[1])):
        seen_pa = count_pa if u_pa >= count_pa * (1 - 1e-9) else 0.0
        noise_pa = math.sqrt(max(u_pa * u_pa - seen_pa * seen_pa, 0.0))
        yield _of_one(name, "resolution", seen_pa)
        yield _of_one(name, "noise", noise_pa, noise[2])


def _surroundings(instrument: Instrument, restrictor: RestrictorCalibration | None) -> Iterator[Error]:
    yield Error("barometer", instrument.u_atmosphere_pa, "Pa", atmosphere=instrument.u_atmosphere_pa)
    yield Error("gas temperature", instrument.u_gas_temperature_k, "K", temperature=instrument.u_gas_temperature_k)
    if restrictor is None:
        u = instrument.u_discharge_coefficient
        yield Error("discharge coefficient, assumed", u, "1", area=u / instrument.discharge_coefficient)
        return
    conductance, degrees = restrictor.conductance_m3_s_pa, restrictor.degrees_of_freedom
    u_conductance, unit = restrictor.u_conductance_m3_s_pa, "m3/(s Pa)"
    (area, carried), (_, ratio) = _two(u_conductance / conductance, restrictor.u_critical_ratio, restrictor.correlation)
    yield Error("restrictor: conductance", u_conductance, unit, degrees, area=area, critical_ratio=carried)
    yield Error("restrictor: critical ratio", ratio, "1", degrees, critical_ratio=ratio)
    yield Error("form of the flow curve", rectangular(_CURVE), "1", area=rectangular(_CURVE))
