"""What the mechanic of a script does: the soft step, and the crank in an order that is not the firing order."""

from __future__ import annotations

from math import degrees

import pytest

from simulator.actions import Action
from simulator.errors import ScenarioError
from simulator.scenario import Scenario, parse
from simulator.simulation import Simulation
from simulator.timeline import actions_of, timeline_of
from simulator.truth import truth

PSI = 6894.757293168361
TWO = """
title = "t"
engine = { name = "invented", order = [2, 1] }
cylinder = [{ number = 1 }, { number = 2 }]
regulator = { droop_psi_per_g_s = 0, hump_psi = 0, tank_effect = 0, recovery_s = 0, noise_psi = 0 }
[script]
lead_in_s = 1
connect_s = 2
air_ramp_s = 0.5
hold_s = 6
after_tap_s = 4
vent_s = 3
tap = { count = 0 }
soft_psi = 20
soft_s = 2.5
turn_s = 1.5
"""
EIGHT = """
title = "t"
engine = { name = "invented", order = [1, 8, 4, 3, 6, 5, 7, 2], friction_n_m = 30.0 }
cylinder = [{ number = 1 }, { number = 2 }, { number = 3 }, { number = 4 },
            { number = 5 }, { number = 6 }, { number = 7 }, { number = 8 }]
script = { order = [1, 2, 3, 4, 5, 6, 7, 8] }
"""


def actions(tables: str) -> list[tuple[float, str, Action]]:
    return [(at_s, action.do, action) for at_s, action in actions_of(parse(TWO + tables, "test"))]


def running(scenario: Scenario, until_s: float) -> Simulation:
    simulation = Simulation(scenario)
    simulation.feed(b"INIT\n")
    simulation.advance(until_s)
    return simulation


def test_soft_on_the_first_cylinder_only() -> None:
    rows = actions('soft = "first"')
    assert [(at_s, do) for at_s, do, _ in rows] == [
        (1.0, "connect"), (3.0, "air"), (6.0, "set_point"), (13.5, "tap"), (17.5, "vent"),
        (20.5, "connect"), (22.5, "air"), (29.0, "tap"), (33.0, "vent"),
    ]  # fmt: skip
    assert [(action.to_psi, action.over_s) for _, do, action in rows if do == "set_point"] == [(100.0, 1.5)]
    assert timeline_of(parse(TWO + 'soft = "first"', "test")).ends_s == pytest.approx(33.0 + 3.0 + 1.0)


def test_soft_on_all_turns_the_regulator_back_while_the_air_goes_out() -> None:
    rows = actions('soft = "all"')
    assert [(at_s, action.to_psi) for at_s, do, action in rows if do == "set_point"] == [
        (6.0, 100.0), (17.5, 20.0), (25.5, 100.0),
    ]  # fmt: skip
    assert [at_s for at_s, do, _ in rows if do == "vent"] == [17.5, 37.0]


@pytest.mark.parametrize(("soft", "first_psi"), [("none", 100.0), ("first", 20.0), ("all", 20.0)])
def test_the_regulator_stands_where_the_first_cylinder_needs_it(soft: str, first_psi: float) -> None:
    simulation = running(parse(TWO + f'soft = "{soft}"', "test"), 0.5)
    assert simulation.bench.supply_gauge_pa / PSI == pytest.approx(first_psi)


def test_the_set_point_is_turned_evenly() -> None:
    scenario = parse(TWO + 'soft = "first"', "test")
    for until_s, psi in [(5.9, 20.0), (6.75, 60.0), (7.6, 100.0), (30.0, 100.0)]:
        assert running(scenario, until_s).bench.supply_gauge_pa / PSI == pytest.approx(psi, abs=0.2)


def test_an_action_turns_the_set_point_back_before_it_has_arrived() -> None:
    turning = """
    title = "t"
    engine = { name = "invented", order = [1] }
    cylinder = [{ number = 1 }]
    regulator = { droop_psi_per_g_s = 0, hump_psi = 0, tank_effect = 0, recovery_s = 0, noise_psi = 0 }
    bench = { set_point_psi = 20 }
    action = [{ do = "set_point", to_psi = 100, over_s = 4, at_s = 1 }, { do = "set_point", to_psi = 30, at_s = 3 }]
    """
    scenario = parse(turning, "test")
    assert running(scenario, 2.999).bench.supply_gauge_pa / PSI == pytest.approx(60.0, abs=0.2)
    assert running(scenario, 3.9).bench.supply_gauge_pa / PSI == pytest.approx(30.0)


def test_in_the_firing_order_the_crank_is_always_right() -> None:
    scenario = parse(EIGHT.replace("script = { order = [1, 2, 3, 4, 5, 6, 7, 8] }", "script = {}"), "test")
    assert [(row.cylinder, row.crank_off_deg) for row in truth(scenario)] == [
        (number, 0.0) for number in (1, 8, 4, 3, 6, 5, 7, 2)
    ]


def test_in_another_order_the_crank_stands_where_the_firing_intervals_say() -> None:
    """Cylinder n stands at its top at n-th place times 90 degrees, by hand: 1 at 0, 8 at 90, 4 at 180, 3 at 270, 6 at
    360, 5 at 450, 7 at 540, 2 at 630; the mechanic comes to cylinder n at (n - 1) times 90."""
    found = {row.cylinder: row for row in truth(parse(EIGHT, "test"))}
    off_deg = {1: 0, 2: 180, 3: -90, 4: 90, 5: -90, 6: 90, 7: 0, 8: -180}
    assert [(number, row.crank_off_deg) for number, row in found.items()] == list(off_deg.items())
    assert not found[3].crank_holds and found[3].open_valve_mm2 == 0.0
    assert found[2].crank_holds and found[2].open_valve_mm2 > 0.0


def test_a_crank_that_stands_at_ninety_degrees_rolls_when_the_air_comes() -> None:
    scenario = parse(EIGHT, "test")
    air_s = [at_s for at_s, action in actions_of(scenario) if action.do == "air"]
    simulation = running(scenario, air_s[2] - 0.01)
    assert (simulation.bench.connected, degrees(simulation.bench.crank.angle_rad)) == (3, pytest.approx(-90.0))
    simulation.advance(air_s[2] + 6.0)
    assert degrees(simulation.bench.crank.angle_rad) < -130.0
    assert simulation.bench.cylinder_gauge_pa < 5 * PSI


@pytest.mark.parametrize("order", ["[1, 1]", "[1, 3]"])
def test_order_of_the_script_names_cylinders_of_the_engine_once(order: str) -> None:
    with pytest.raises(ScenarioError, match=r"script\.order names cylinders of engine\.order, each once"):
        parse(TWO + f"order = {order}", "own.toml")


def test_order_of_the_engine_names_each_once() -> None:
    with pytest.raises(ScenarioError, match="order names each cylinder once"):
        parse(TWO.replace("[2, 1]", "[2, 1, 2]"), "own.toml")
