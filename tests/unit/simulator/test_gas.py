"""The simulator's nozzle. Sources: `fluids` (nozzle expansibility of ISO 9300 form) and CoolProp's equation of state
of air (Lemmon et al. 2000), as the package `CoolProp` computes it."""

from __future__ import annotations

import fluids
import numpy as np
import pytest
from CoolProp.CoolProp import PT_INPUTS, AbstractState, PSmass_INPUTS
from scipy.optimize import minimize_scalar

from simulator.physics.gas import CRITICAL_RATIO, LINEAR_ABOVE, R_AIR, choked_fraction, flow_kg_s, steepness

AREA = 0.6485855732e-6
STATES = [(pressure, warm, ratio) for pressure in (3e5, 652905.58, 790800.73) for warm in (273.15, 293.15)
          for ratio in (0.2, 0.45, 0.53, 0.6, 0.75, 0.9, 0.97, 0.998)]  # fmt: skip


@pytest.mark.parametrize(("up_pa", "up_k", "ratio"), STATES)
def test_agrees_with_fluids(up_pa: float, up_k: float, ratio: float) -> None:
    down_pa = max(ratio * up_pa, fluids.compressible.P_critical_flow(up_pa, 1.4))
    expansibility = fluids.flow_meter.nozzle_expansibility(D=1.0, Do=1e-3, P1=up_pa, P2=down_pa, k=1.4)
    density = up_pa / (R_AIR * up_k)
    flux = expansibility * np.sqrt(2.0 * density * (up_pa - down_pa))
    assert flow_kg_s(AREA, up_pa, up_k, ratio * up_pa, up_k) == pytest.approx(AREA * flux, rel=1e-9)


@pytest.mark.parametrize(("up_pa", "ratio"), [(pa, r) for pa in (652905.58, 790800.73) for r in (0.3, 0.6, 0.75, 0.92)])
def test_real_air_flows_up_to_half_a_percent_more(up_pa: float, ratio: float) -> None:
    air = AbstractState("HEOS", "Air")
    air.update(PT_INPUTS, up_pa, 293.15)
    enthalpy, entropy = air.hmass(), air.smass()

    def flux(down_pa: float) -> float:
        air.update(PSmass_INPUTS, down_pa, entropy)
        return air.rhomass() * np.sqrt(2.0 * (enthalpy - air.hmass()))

    throat = minimize_scalar(lambda pa: -flux(pa), bounds=(0.4 * up_pa, 0.7 * up_pa), method="bounded").x
    real = AREA * flux(max(ratio * up_pa, throat))
    assert 1.0 < real / flow_kg_s(AREA, up_pa, 293.15, ratio * up_pa, 293.15) < 1.005


def test_flow_turns_round_with_the_pressures() -> None:
    there = flow_kg_s(AREA, 5e5, 300.0, 4e5, 280.0)
    assert flow_kg_s(AREA, 4e5, 280.0, 5e5, 300.0) == -there < 0.0


def test_no_difference_no_flow() -> None:
    assert flow_kg_s(AREA, 5e5, 300.0, 5e5, 300.0) == 0.0


@pytest.mark.parametrize("ratio", [CRITICAL_RATIO, LINEAR_ABOVE])
def test_pieces_of_the_curve_meet(ratio: float) -> None:
    assert choked_fraction(ratio * (1 - 1e-12)) == pytest.approx(choked_fraction(ratio * (1 + 1e-12)), rel=1e-8)


def test_no_flow_curve_is_steeper_than_it_says() -> None:
    ratios = np.linspace(CRITICAL_RATIO, 1.0, 5001)
    flows = np.array([choked_fraction(float(ratio)) for ratio in ratios])
    steepest = np.maximum.accumulate([steepness(float(ratio)) for ratio in ratios])[1:]
    assert (np.abs(np.diff(flows) / np.diff(ratios)) <= steepest * (1 + 1e-9)).all()
