"""What a fill says of the leak, row by row: a bank of extended Kalman filters over the unknowns of `fill_model`.

The shape of a fill is not linear in what is unknown: a small volume that loses much heat looks for long like a large
one that loses little. So the prior is cut into pieces, small enough for a filter each; every filter has a weight by
what it foretold, and dies when that is next to nothing. What is told is their mixture. The cost of a row does not
depend on how many came before. Ref: Gaussian sum filter (Alspach and Sorenson 1972, from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from daq.measure import orifice
from daq.measure.fill_model import GAS, HEAT, LEAK, OFFSET, PRESSURE, RATE, SHUT, UNKNOWNS, WALL, FillModel
from daq.records import Floats, Instrument

USUAL_M3, USUAL_LEAK, USUAL_W_K, USUAL_WALL = 80e-6, 0.55, 2.0, 1.08
_SPREAD = {RATE: 0.8, LEAK: 1.0, HEAT: 1.2}
_PIECES = {RATE: 5, LEAK: 5, HEAT: 5}
"""What is taken for granted before a row is seen: volume and leak within factors of 2 to 3 of the usual, any heat
transfer from 0.2 to 20 W/K alike (isothermal and adiabatic filling look no different from those two), a wall from 40 K
below to 90 K above the air. Judgement, no source; the rows outweigh it before anything is told."""
_BELL = np.array((1.0, 1.0, 0.0))  # of RATE, LEAK and HEAT: 1 for a normal prior, 0 for a flat one
_REACH = 1.6  # standard deviations that the pieces span to either side
_OVERLAP = 0.6  # standard deviation of a piece, over the distance to the next
_U_WALL, _U_GAS = 0.11, 0.06
_SHUT, _U_SHUT, _U_OPEN = 0.05, 0.10, 0.01
"""Part of the flow that the valve may still keep back when a hand has just opened it; and after a tap, where it was
open all the time."""
_NOISE, _MODEL = 3e-4, 2e-4  # of the set point: of a row beside the resolution; of what the model may be wrong by
_HEAT_WANDERS = 0.1  # of its logarithm, in a second
_NEGLIGIBLE = 1e-5
_STEP = np.array((1e-4, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-4, 1e-3))
_MEMORY = 6.0  # rows
_ENDS = np.array([[0.025], [0.975]])
_LEAST_HALF = 1.6
"""Half-width of a 95 % interval in standard deviations, at least; 1.96 for one normal, less where a few lie far off."""
_TO_NORMAL = math.sqrt(2 / math.pi)  # tanh of this times (z + 0.044715 z^3): normal distribution within 3e-4 (memory)


@dataclass(frozen=True, slots=True)
class Told:
    """Loss at the end, percent at this supply, with its 95 % interval, and the volume behind the restrictor as stated
    with its standard uncertainty."""

    loss_pct: float
    low_pct: float
    high_pct: float
    volume_m3: float
    u_volume_m3: float


class FillBank:
    """One fill, from its first row on. `u_offset_pa` is what is not known of the difference of both channels.

    All pressures that are given are absolute, Pa. `misfit` is about 1 or less while the rows are as foretold.
    """

    def __init__(
        self,
        instrument: Instrument,
        resolution_pa: float,
        u_offset_pa: float,
        cylinder_pa: float,
        lowest_pa: float,
        hand: bool,
    ) -> None:
        """It begins at `cylinder_pa`, when the pressure has come up from `lowest_pa`; `hand` on the valve or not."""
        self._model = FillModel(instrument)
        unit_pa = self._model.unit_pa
        resolution = resolution_pa / unit_pa / 12**0.5
        part = instrument.set_point_pa / unit_pa
        self._noise = resolution**2 + (_NOISE * part) ** 2
        self._u_supply = math.hypot(resolution, _NOISE * part)
        self._wrong = (_MODEL * part) ** 2
        self._x, self._weights, spreads = self._pieces()
        gas, by_wall = _heated(cylinder_pa, lowest_pa, self._x)
        self._x[:, PRESSURE], self._x[:, GAS] = cylinder_pa / unit_pa, gas
        self._x[:, SHUT] = _SHUT if hand else 0.0
        offset, u_shut = (u_offset_pa / unit_pa) ** 2, _U_SHUT if hand else _U_OPEN
        variances = np.array((self._noise + offset, _U_GAS**2, *spreads, _U_WALL**2, offset, u_shut**2))
        self._covariance = np.repeat(np.diag(variances)[None], len(self._x), axis=0)
        self._covariance[:, PRESSURE, OFFSET] = self._covariance[:, OFFSET, PRESSURE] = -offset
        self._covariance[:, GAS, WALL] = self._covariance[:, WALL, GAS] = by_wall * _U_WALL**2
        self._covariance[:, GAS, GAS] += (by_wall * _U_WALL) ** 2
        self.rows, self.misfit = 0, 1.0

    def _pieces(self) -> tuple[Floats, Floats, list[float]]:
        """Middles of the pieces, shape (m, 8), logarithms of their weights, and variances of RATE, LEAK and HEAT."""
        usual = {
            RATE: self._model.rate(USUAL_M3),
            LEAK: math.log(USUAL_LEAK),
            HEAT: self._model.heat(USUAL_W_K),
        }
        places = [np.linspace(-_REACH, _REACH, count).tolist() for count in _PIECES.values()]
        scores = np.array(list(itertools.product(*places)))
        x = np.zeros((len(scores), UNKNOWNS))
        for unknown, score in zip(_PIECES, scores.T, strict=True):
            x[:, unknown] = usual[unknown] + _SPREAD[unknown] * score
        x[:, WALL] = USUAL_WALL
        spreads = [(_SPREAD[u] * _OVERLAP * 2 * _REACH / (count - 1)) ** 2 for u, count in _PIECES.items()]
        return x, -0.5 * (_BELL * scores * scores).sum(axis=-1), spreads

    def feed(self, supply_pa: float, cylinder_pa: float, step_s: float) -> None:
        """The next row, `step_s` after the last, and the mean supply between the two."""
        ahead, read = self._model.after(_around(self._x), supply_pa / self._model.unit_pa, step_s)
        moved = (ahead[:, 1:] - ahead[:, :1]) / _STEP[:, None]  # (m, from, to)
        seen = (read[:, 1:] - read[:, :1]) / _STEP
        covariance = moved.transpose(0, 2, 1) @ self._covariance @ moved
        along = (self._covariance * seen[:, None]).sum(axis=2)
        cross = (moved * along[:, :, None]).sum(axis=1)
        kept = np.minimum(np.maximum(moved[:, PRESSURE, PRESSURE], 0.0), 1.0)
        pushed = self._wrong + ((1.0 - kept) * self._u_supply) ** 2
        covariance[:, PRESSURE, PRESSURE] += pushed
        covariance[:, HEAT, HEAT] += _HEAT_WANDERS**2 * step_s
        cross[:, PRESSURE] += pushed
        variance = (seen * along).sum(axis=1) + self._noise + pushed
        self._learn(cylinder_pa / self._model.unit_pa - read[:, 0], variance, ahead[:, 0], cross, covariance)

    def _learn(self, surprise: Floats, variance: Floats, x: Floats, cross: Floats, covariance: Floats) -> None:
        """Kalman's update of each filter, and Bayes' of their weights."""
        gain = cross / variance[:, None]
        squares = surprise * surprise / variance
        weights = self._weights - 0.5 * (squares + np.log(variance))
        weights = weights - weights.max()
        alive = weights > math.log(_NEGLIGIBLE)
        self._x = self._model.within(x + gain * surprise[:, None])[alive]
        self._covariance = (covariance - gain[:, :, None] * cross[:, None])[alive]
        self._weights, self.rows = weights[alive], self.rows + 1
        self.misfit += (float((self._shares() * squares[alive]).sum()) - self.misfit) / _MEMORY

    def _shares(self) -> Floats:
        weights = np.exp(self._weights)
        shares: Floats = weights / weights.sum()
        return shares

    def told(self, supply_pa: float, u_besides_pct: float, most_half_pct: Callable[[float], float]) -> Told | None:
        """What the rows say so far, for this supply; `u_besides_pct` is what else makes the loss uncertain. None where
        the interval is surely wider to each side than it may be for such a loss: the quantiles cost more than all else.
        """
        ends = self._model.end_pct(_around(self._x), supply_pa / self._model.unit_pa)
        gradient = (ends[:, 1:] - ends[:, :1]) / _STEP
        variance = (gradient * (self._covariance * gradient[:, None]).sum(axis=2)).sum(axis=1)
        volumes, shares = self._model.volume_m3(self._x), self._shares()
        loss_pct, u_loss_pct = _mixture(shares, ends[:, 0], variance + u_besides_pct**2)
        if _LEAST_HALF * u_loss_pct > most_half_pct(loss_pct):
            return None
        volume_m3, u_volume_m3 = _mixture(shares, volumes, volumes * volumes * self._covariance[:, RATE, RATE])
        u = np.sqrt(variance + u_besides_pct**2)
        low_pct, high_pct = _interval(shares, ends[:, 0], u, (loss_pct, 6.0 * u_loss_pct))
        return Told(loss_pct, low_pct, high_pct, volume_m3, u_volume_m3)


def _around(x: Floats) -> Floats:
    """Each row of unknowns, and the same with each unknown a step further: shape (m, 9, 8)."""
    around = np.repeat(x[:, None], UNKNOWNS + 1, axis=1)
    around[:, 1:] += np.diag(_STEP)
    return around


def _heated(cylinder_pa: float, lowest_pa: float, x: Floats) -> tuple[Floats, Floats]:
    """Temperature of the gas, over that of the air, and how much of it is the wall's: it lies between that and the
    one of filling without heat transfer, by what the wall gives and what flows in.

    Ref: energy balance of a volume filled from one pressure to another, gas of the air's temperature on both sides.
    """
    adiabatic = cylinder_pa / (lowest_pa + max(cylinder_pa - lowest_pa, 0.0) / orifice.GAMMA)
    by_wall: Floats = 1.0 - 1.0 / (1.0 + orifice.GAMMA * np.exp(x[:, HEAT]))
    return adiabatic + by_wall * (x[:, WALL] - adiabatic), by_wall


def _mixture(shares: Floats, values: Floats, variances: Floats) -> tuple[float, float]:
    """Mean and standard deviation."""
    mean = float((shares * values).sum())
    return mean, math.sqrt(float((shares * (variances + (values - mean) ** 2)).sum()))


def _interval(shares: Floats, means: Floats, u: Floats, bracket: tuple[float, float]) -> list[float]:
    """Quantiles of 2.5 and 97.5 % of a mixture of normal distributions, by bisection of (middle, half-width)."""
    at, width = np.full((2, 1), bracket[0]), bracket[1]
    for _ in range(16):
        width *= 0.5
        z = (at - means) / u
        below = (shares * 0.5 * (1.0 + np.tanh(_TO_NORMAL * (z + 0.044715 * z * z * z)))).sum(axis=-1, keepdims=True)
        at += np.where(below < _ENDS, width, -width)
    ends: list[float] = at[:, 0].tolist()
    return ends
