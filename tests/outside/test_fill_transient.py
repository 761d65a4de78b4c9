"""How the simulator's bench fills, settles and answers taps, against values computed outside it.

Sources: mass and energy balance of a gas volume between two nozzles (standard gas dynamics), integrated with
scipy.integrate.solve_ivp (LSODA, relative tolerance 1e-10) in the form dp/dt, which the simulator does not use; steady
points by scipy.optimize.brentq on the same nozzle. The rows were computed once, for air with R = 287.05 J/(kg K) and
gamma = 1.4 at 293.15 K, behind a restrictor of 1.016 mm (0.040 in) with a discharge coefficient of 0.8; the first test
integrates anew.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf, pi, sqrt

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp

from simulator.build import bench_of, bench_traits
from simulator.physics.bench import Bench
from simulator.physics.leaks import LeakPath
from simulator.scenario import Scenario, parse
from simulator.truth import loss_pct

PSI = 6894.757293168361
ATMOSPHERE = 101325.0
WARM = 293.15
RESTRICTOR = 0.8 * pi / 4 * 1.016e-3**2
GAMMA, R = 1.4, 287.05


def ideal(volume_cc: float, leak_mm2: float, heat: float, set_point_psi: float = 100.0) -> Scenario:
    """An engine of one cylinder behind a supply without any fault."""
    return parse(
        f"""
        title = "ideal"
        engine = {{ name = "invented", order = [1], clearance_cc = {volume_cc - 1} }}
        cylinder = [{{ number = 1, leaks_mm2 = {{ exhaust = {leak_mm2!r} }} }}]
        bench = {{ hose_cc = 1, heat_w_per_k = {heat}, set_point_psi = {set_point_psi}, air_c = 20, wall_c = 20 }}
        regulator = {{ droop_psi_per_g_s = 0, hump_psi = 0, tank_effect = 0, recovery_s = 0, noise_psi = 0 }}
        """,
        "ideal",
    )


def filling(volume_cc: float, leak_mm2: float, heat: float) -> Bench:
    bench = bench_of(ideal(volume_cc, leak_mm2, heat), seed=1)
    bench.connect(1)
    bench.open_air(0.0)
    return bench


def trace(bench: Bench, seconds: float, step_s: float = 0.0005) -> tuple[npt.NDArray, npt.NDArray]:
    """Times since now, and gauge pressures of the cylinder in psi."""
    times = np.arange(1, round(seconds / step_s) + 1) * step_s
    start_s = bench.time_s
    pressures = []
    for time in times:
        bench.advance(start_s + time)
        pressures.append(bench.cylinder_gauge_pa / PSI)
    return times, np.array(pressures)


def first_crossing(times: npt.NDArray, values: npt.NDArray, level: float) -> float:
    after = int(np.argmax(values >= level))
    share = (level - values[after - 1]) / (values[after] - values[after - 1])
    return float(times[after - 1] + share * (times[after] - times[after - 1]))


def leak_for(loss: float, volume_cc: float = 75.0) -> float:
    """Effective leak area in mm2 of a steady loss at 100 psi, by the nozzle of this file."""
    if loss == 0.0:
        return 0.0
    supply, cylinder = 100 * PSI + ATMOSPHERE, (100 - loss) * PSI + ATMOSPHERE
    return RESTRICTOR * nozzle(supply, cylinder, WARM) / nozzle(cylinder, ATMOSPHERE, WARM) * 1e6


def nozzle(up: float, down: float, up_k: float) -> float:
    """Mass flow for each m2, written with its maximum over the ratio instead of a closed choked form."""
    if down > up:
        return -nozzle(down, up, up_k)
    ratio = max(down / up, (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1)))
    head = ratio ** (2 / GAMMA) - ratio ** ((GAMMA + 1) / GAMMA)
    return up * sqrt(2 * GAMMA / ((GAMMA - 1) * R * up_k) * max(head, 0.0))


def balance(volume: float, leak: float, heat: float) -> Callable[[float, npt.NDArray], list[float]]:
    """dp/dt and dM/dt of the air in the volume, open to the supply and to the atmosphere."""
    supply, cp = 100 * PSI + ATMOSPHERE, GAMMA * R / (GAMMA - 1)

    def rates(_: float, state: npt.NDArray) -> list[float]:
        pressure, mass = state
        here = WARM if heat == inf else pressure * volume / (mass * R)
        flow_in = RESTRICTOR * nozzle(supply, pressure, WARM)
        flow_out = leak * nozzle(pressure, ATMOSPHERE, here)
        if heat == inf:
            return [R * WARM / volume * (flow_in - flow_out), flow_in - flow_out]
        power = cp * WARM * flow_in - cp * here * flow_out + heat * (WARM - here)
        return [(GAMMA - 1) / volume * power, flow_in - flow_out]

    return rates


@pytest.mark.parametrize("heat", [inf, 0.0, 1.0])
@pytest.mark.parametrize(("volume_cc", "loss"), [(75.0, 10.0), (150.0, 25.0), (50.0, 2.0)])
def test_fills_as_an_independent_integration_says(volume_cc: float, loss: float, heat: float) -> None:
    leak_mm2, volume = leak_for(loss), volume_cc * 1e-6
    times, pressures = trace(filling(volume_cc, leak_mm2, heat), 2.0, 0.005)
    start = [ATMOSPHERE, ATMOSPHERE * volume / (R * WARM)]
    solved = solve_ivp(
        balance(volume, leak_mm2 * 1e-6, heat), (0.0, 2.0), start, "LSODA", times, rtol=1e-10, atol=1e-10
    )
    assert pressures == pytest.approx((solved.y[0] - ATMOSPHERE) / PSI, abs=0.002)


# volume cc, loss %, W/K, t50 s, t90 s, t99 s, highest temperature K
FILL = [
    (50, 0, inf, 0.1692, 0.3296, 0.4072, None),
    (50, 2, inf, 0.1830, 0.3879, 0.5417, None),
    (50, 10, inf, 0.1927, 0.4588, 0.7282, None),
    (50, 25, inf, 0.1881, 0.5143, 0.8970, None),
    (75, 0, inf, 0.2538, 0.4944, 0.6108, None),
    (75, 0, 0.0, 0.1813, 0.3531, 0.4363, 390.4),
    (75, 0, 1.0, 0.2049, 0.4134, 0.5474, 345.3),
    (75, 2, inf, 0.2745, 0.5819, 0.8126, None),
    (75, 2, 0.0, 0.1982, 0.4282, 0.6447, 375.0),
    (75, 2, 1.0, 0.2251, 0.5064, 0.9631, 339.0),
    (75, 10, inf, 0.2891, 0.6882, 1.0923, None),
    (75, 10, 0.0, 0.2122, 0.5354, 1.2727, 361.8),
    (75, 10, 1.0, 0.2420, 0.6292, 1.3032, 333.2),
    (75, 25, inf, 0.2821, 0.7714, 1.3455, None),
    (75, 25, 0.0, 0.2110, 0.6425, 1.5377, 350.6),
    (75, 25, 1.0, 0.2409, 0.7306, 1.4828, 328.0),
    (100, 0, inf, 0.3384, 0.6592, 0.8144, None),
    (100, 2, inf, 0.3660, 0.7758, 1.0835, None),
    (100, 10, inf, 0.3855, 0.9176, 1.4564, None),
    (100, 25, inf, 0.3761, 1.0285, 1.7940, None),
    (150, 0, inf, 0.5076, 0.9887, 1.2216, None),
    (150, 2, inf, 0.5490, 1.1637, 1.6252, None),
    (150, 10, inf, 0.5782, 1.3764, 2.1847, None),
    (150, 25, inf, 0.5642, 1.5428, 2.6910, None),
]


@pytest.mark.parametrize(("volume_cc", "loss", "heat", "t50", "t90", "t99"), [row[:6] for row in FILL])
def test_filling_times(volume_cc: float, loss: float, heat: float, t50: float, t90: float, t99: float) -> None:
    times, pressures = trace(filling(volume_cc, leak_for(loss), heat), t99 + 0.01)
    reached = [first_crossing(times, pressures, part * (100 - loss)) for part in (0.5, 0.9, 0.99)]
    assert reached == pytest.approx([t50, t90, t99], abs=0.0003)


@pytest.mark.parametrize(("volume_cc", "loss", "heat", "hottest"), [(*row[:3], row[6]) for row in FILL if row[6]])
def test_highest_temperature_while_filling(volume_cc: float, loss: float, heat: float, hottest: float) -> None:
    bench = filling(volume_cc, leak_for(loss), heat)
    temperatures = []
    for step in range(1000):
        bench.advance(step * 0.002)
        temperatures.append(bench.chamber.temperature_k)
    assert max(temperatures) == pytest.approx(hottest, abs=0.06)


def test_an_evacuated_vessel_fills_to_gamma_times_the_temperature_of_the_supply() -> None:
    """Source: adiabatic charging of an evacuated vessel from a constant supply, T = gamma T0 (any textbook of
    engineering thermodynamics)."""
    bench = filling(75.0, 0.0, 0.0)
    bench.chamber.fill(75e-6, 50.0)
    bench.advance(5.0)
    assert bench.chamber.temperature_k == pytest.approx(GAMMA * WARM, rel=2e-4)


# supply psi, loss %, effective leak area mm2, leak flow g/s
STEADY = [
    (80, 1, 0.123609, 0.188892),
    (80, 2, 0.175505, 0.265911),
    (80, 3, 0.215811, 0.324169),
    (80, 5, 0.280875, 0.414588),
    (80, 10, 0.405577, 0.572253),
    (80, 15, 0.507641, 0.683213),
    (80, 20, 0.599640, 0.767995),
    (80, 25, 0.686564, 0.834630),
    (80, 30, 0.771130, 0.887233),
    (80, 50, 1.116875, 0.994203),
    (80, 60, 1.315284, 0.999572),
    (80, 70, 1.587206, 0.999572),
    (80, 80, 2.000864, 0.999572),
    (80, 90, 2.795555, 0.999572),
    (80, 95, 3.916430, 0.999572),
    (100, 1, 0.125589, 0.232388),
    (100, 2, 0.178339, 0.327093),
    (100, 3, 0.219324, 0.398694),
    (100, 5, 0.285525, 0.509741),
    (100, 10, 0.412585, 0.703005),
    (100, 15, 0.516811, 0.838542),
    (100, 20, 0.610990, 0.941632),
    (100, 25, 0.700213, 1.022159),
    (100, 30, 0.787272, 1.085183),
    (100, 50, 1.146598, 1.207268),
    (100, 60, 1.360067, 1.210684),
    (100, 70, 1.664360, 1.210684),
    (100, 80, 2.144058, 1.210684),
    (100, 90, 3.042329, 1.210684),
    (100, 95, 4.252957, 1.210684),
]


@pytest.mark.parametrize(("supply_psi", "loss", "area_mm2", "flow_g_s"), STEADY)
def test_steady_loss_and_flow(supply_psi: float, loss: float, area_mm2: float, flow_g_s: float) -> None:
    scenario = ideal(75.0, area_mm2, 1.0, supply_psi)
    assert loss_pct(bench_traits(scenario), area_mm2 * 1e-6, supply_psi * PSI) == pytest.approx(loss, abs=2e-4)
    bench = bench_of(scenario, seed=1)
    bench.connect(1)
    bench.open_air(0.0)
    bench.advance(20.0)
    settled = 100 * (1 - bench.cylinder_gauge_pa / bench.supply_gauge_pa)
    assert settled == pytest.approx(loss, abs=3e-4)
    assert bench.flow_kg_s * 1e3 == pytest.approx(flow_g_s, rel=2e-5)


# volume cc, effective area of the open valve mm2, ms, W/K, lowest psi, s to within 1 psi, s to within 0.1 psi
TAPS = [
    (75, 2, 5, inf, 87.304, 0.1667, 0.5407),
    (75, 2, 5, 1.0, 86.283, 0.1485, 0.4599),
    (75, 2, 10, inf, 84.748, 0.2847, 0.6587),
    (75, 2, 10, 1.0, 82.861, 0.2339, 0.6260),
    (75, 2, 20, inf, 80.006, 0.4076, 0.7816),
    (75, 2, 20, 1.0, 76.752, 0.3338, 0.8866),
    (75, 2, 50, inf, 68.096, 0.5803, 0.9543),
    (75, 2, 50, 1.0, 62.696, 0.5166, 1.3164),
    (75, 5, 5, inf, 83.384, 0.3275, 0.7015),
    (75, 5, 5, 1.0, 80.976, 0.2679, 0.7032),
    (75, 5, 10, inf, 77.335, 0.4563, 0.8303),
    (75, 5, 10, 1.0, 73.120, 0.3794, 0.9981),
    (75, 5, 20, inf, 66.655, 0.5961, 0.9701),
    (75, 5, 20, 1.0, 60.123, 0.5343, 1.3383),
    (75, 5, 50, inf, 42.945, 0.8013, 1.1753),
    (75, 5, 50, 1.0, 35.048, 0.8467, 1.7713),
    (75, 10, 5, inf, 77.176, 0.4589, 0.8329),
    (75, 10, 5, 1.0, 72.810, 0.3822, 1.0016),
    (75, 10, 10, inf, 66.153, 0.6015, 0.9754),
    (75, 10, 10, 1.0, 59.204, 0.5403, 1.3457),
    (75, 10, 20, inf, 48.349, 0.7600, 1.1340),
    (75, 10, 20, 1.0, 39.418, 0.7751, 1.6861),
    (75, 10, 50, inf, 16.890, 0.9775, 1.3515),
    (75, 10, 50, 1.0, 11.155, 1.1032, 2.0440),
    (75, 30, 5, inf, 55.994, 0.6976, 1.0715),
    (75, 30, 5, 1.0, 47.175, 0.6746, 1.5551),
    (75, 30, 10, inf, 33.370, 0.8701, 1.2440),
    (75, 30, 10, 1.0, 23.844, 0.9432, 1.8758),
    (75, 30, 20, inf, 8.183, 1.0296, 1.4036),
    (75, 30, 20, 1.0, 3.343, 1.1606, 2.1024),
    (75, 30, 50, inf, 0.095, 1.0744, 1.4484),
    (75, 30, 50, 1.0, 0.185, 1.2282, 2.1711),
    (150, 2, 5, inf, 88.633, 0.1036, 0.8516),
    (150, 2, 10, inf, 87.304, 0.3335, 1.0815),
    (150, 2, 20, inf, 84.748, 0.5695, 1.3175),
    (150, 2, 50, inf, 77.798, 0.8970, 1.6450),
    (150, 5, 5, inf, 86.616, 0.4125, 1.1605),
    (150, 5, 10, inf, 83.384, 0.6550, 1.4030),
    (150, 5, 20, inf, 77.335, 0.9127, 1.6606),
    (150, 5, 50, inf, 61.923, 1.2879, 2.0359),
    (150, 10, 5, inf, 83.339, 0.6576, 1.4056),
    (150, 10, 10, inf, 77.176, 0.9179, 1.6659),
    (150, 10, 20, inf, 66.153, 1.2030, 1.9509),
    (150, 10, 50, inf, 41.149, 1.6292, 2.3772),
    (150, 30, 5, inf, 71.247, 1.0864, 1.8344),
    (150, 30, 10, inf, 55.994, 1.3952, 2.1431),
    (150, 30, 20, inf, 33.370, 1.7402, 2.4881),
    (150, 30, 50, inf, 2.306, 2.1253, 2.8733),
]


@pytest.mark.parametrize(("volume_cc", "area_mm2", "open_ms", "heat", "lowest", "to_1_psi", "to_01_psi"), TAPS)
def test_tap_dips_and_recovers(
    volume_cc: float, area_mm2: float, open_ms: float, heat: float, lowest: float, to_1_psi: float, to_01_psi: float
) -> None:
    bench = filling(volume_cc, leak_for(10.0), heat)
    bench.advance(10.0)
    bench.open_valve(area_mm2 * 1e-6)
    bench.advance(10.0 + open_ms * 1e-3)
    assert bench.cylinder_gauge_pa / PSI == pytest.approx(lowest, abs=0.003)
    bench.close_valve(LeakPath.EXHAUST, clears=0.0)
    times, pressures = trace(bench, to_01_psi + 0.05, 0.001)
    reached = [_back_within(times, pressures, 90.0, within) for within in (1.0, 0.1)]
    assert reached == pytest.approx([to_1_psi, to_01_psi], abs=0.003)


def _back_within(times: npt.NDArray, pressures: npt.NDArray, steady: float, within: float) -> float:
    """When the pressure is within this of the steady one for good."""
    outside = np.flatnonzero(np.abs(pressures - steady) > within)
    return float(times[outside[-1]])


# pressure psi, slope of recovery psi/s: 75 cc, 10 % cylinder, isothermal
RECOVERY = [(85, 27.5), (80, 49.8), (60, 108.7), (40, 137.3), (20, 159.1), (5, 177.9)]


@pytest.mark.parametrize(("pressure_psi", "slope_psi_s"), RECOVERY)
def test_slope_of_the_recovery(pressure_psi: float, slope_psi_s: float) -> None:
    bench = filling(75.0, leak_for(10.0), inf)
    bench.chamber.fill(75e-6, pressure_psi * PSI + ATMOSPHERE)
    bench.advance(1e-4)
    assert (bench.cylinder_gauge_pa / PSI - pressure_psi) / 1e-4 == pytest.approx(slope_psi_s, abs=0.1)
