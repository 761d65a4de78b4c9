"""Orifice flow against other people's code and other physics.

`fluids` (Caleb Bell and contributors, MIT) has the same ideal nozzle equation: it checks the coding. CoolProp's HEOS
Air (Lemmon et al. 2000) is an independent real-gas model: it checks the physics, to the half percent that real air
differs from an ideal gas here. ISO 6358-1's ellipse and API 520's sizing equation are other published forms.
"""

from __future__ import annotations

import math
from itertools import product

import CoolProp
import fluids
import numpy as np
import pytest
from fluids.safety_valve import API520_A_g
from scipy.optimize import minimize_scalar

from daq.measure import orifice

PSI = 6894.757293168361
ATMOSPHERE = 101_325.0
GAS_CONSTANT = 287.05
BORE_M = 0.040 * 0.0254
AREA_M2 = 0.8 * math.pi / 4 * BORE_M**2

CASES = [
    (supply_psi, temperature_k, ratio)
    for (supply_psi, temperature_k) in product((60.0, 80.0, 100.0), (273.15, 293.15, 313.15))
    for ratio in (0.30, 0.45, 0.50, 0.60, 0.75, 0.80, 0.85, 0.92, 0.95, 0.97, 0.99)
]


@pytest.mark.parametrize(("supply_psi", "temperature_k", "ratio"), CASES)
def test_nozzle_against_fluids(supply_psi: float, temperature_k: float, ratio: float) -> None:
    """Recipe: discharge equation with nozzle expansibility in the limit of a small bore, outlet held at the choke."""
    inlet = supply_psi * PSI + ATMOSPHERE
    outlet = max(ratio * inlet, fluids.compressible.P_critical_flow(inlet, 1.4))
    pipe = {"D": 1.0, "Do": BORE_M, "P1": inlet, "P2": outlet}
    expected = fluids.flow_meter.flow_meter_discharge(
        **pipe,
        rho=inlet / (GAS_CONSTANT * temperature_k),
        C=0.8,
        expansibility=fluids.flow_meter.nozzle_expansibility(**pipe, k=1.4),
    )
    found = orifice.mass_flow(AREA_M2, inlet, ratio * inlet, temperature_k)
    assert float(found) == pytest.approx(expected, rel=1e-9)


def test_critical_ratio_against_fluids() -> None:
    assert pytest.approx(fluids.compressible.P_critical_flow(1.0, 1.4), rel=1e-14) == orifice.CRITICAL_RATIO


def real_air_flux(inlet: float, temperature_k: float, outlet: float) -> float:
    """Mass flux of real air, kg/(s m2): isentropic expansion to `outlet`, or to the choke point above it."""
    air = CoolProp.AbstractState("HEOS", "Air")
    air.update(CoolProp.PT_INPUTS, inlet, temperature_k)
    enthalpy, entropy = air.hmass(), air.smass()

    def flux(pressure: float) -> float:
        air.update(CoolProp.PSmass_INPUTS, pressure, entropy)
        return float(air.rhomass() * math.sqrt(max(2 * (enthalpy - air.hmass()), 0.0)))

    choke = minimize_scalar(lambda p: -flux(p), bounds=(0.45 * inlet, 0.6 * inlet), method="bounded")
    return flux(max(outlet, float(choke.x)))


@pytest.mark.parametrize(("supply_psi", "temperature_k", "ratio"), CASES[::4])
def test_nozzle_against_real_air(supply_psi: float, temperature_k: float, ratio: float) -> None:
    inlet = supply_psi * PSI + ATMOSPHERE
    real = AREA_M2 * real_air_flux(inlet, temperature_k, ratio * inlet)
    ideal = float(orifice.mass_flow(AREA_M2, inlet, ratio * inlet, temperature_k))
    assert 0 < real / ideal - 1 < 0.005


@pytest.mark.parametrize("critical_ratio", [orifice.CRITICAL_RATIO, 0.5, 0.4, 0.3])
def test_flow_function_against_the_ellipse_of_iso_6358(critical_ratio: float) -> None:
    """The stretched nozzle curve and the ellipse share the choke and the zero; between they differ by 0.3 %."""
    ratio = np.linspace(0.0, 0.998, 2000)
    nozzle = orifice.flow_function(ratio, critical_ratio)
    ellipse = orifice.iso6358_flow_function(ratio, critical_ratio)
    assert np.abs(nozzle / ellipse - 1).max() < 0.0031
    assert np.abs(nozzle / ellipse - 1).max() > 0.002  # or it would not be the nozzle curve


def test_an_ellipse_with_another_critical_ratio_is_not_the_ideal_nozzle() -> None:
    """Why b is a quantity to calibrate: with b = 0.40 the flow differs by up to 11.6 % from the ideal nozzle."""
    ratio = np.linspace(0.3, 0.998, 20_000)
    difference = orifice.iso6358_flow_function(ratio, 0.40) / orifice.flow_function(ratio) - 1
    assert np.abs(difference).max() == pytest.approx(0.116, abs=0.002)


def test_sonic_conductance_of_a_bore() -> None:
    """Value computed by hand from the choked-flow equations with the ISO 8778 density (1.185 kg/m3, from memory)."""
    conductance = orifice.sonic_conductance(AREA_M2)
    assert conductance == pytest.approx(1.29194935e-9, rel=1e-8)
    flow = orifice.iso6358_mass_flow(conductance, 0.5, 8e5, 1e5)
    assert float(flow) == pytest.approx(float(orifice.mass_flow(AREA_M2, 8e5, 1e5)), rel=1e-14)


@pytest.mark.parametrize("supply_psi", [80.0, 100.0])
def test_choked_flow_against_api_520(supply_psi: float) -> None:
    """API 520 part 1, critical flow of a gas: the area it asks for our flow is our bore. Its constant is rounded."""
    inlet = supply_psi * PSI + ATMOSPHERE
    flow = float(orifice.mass_flow(AREA_M2, inlet, ATMOSPHERE, 293.15))
    molar_mass = 8314.46261815324 / GAS_CONSTANT
    area = API520_A_g(m=flow, T=293.15, Z=1, MW=molar_mass, k=1.4, P1=inlet, P2=ATMOSPHERE, Kd=0.8, Kb=1, Kc=1)
    assert area == pytest.approx(math.pi / 4 * BORE_M**2, rel=5e-5)
