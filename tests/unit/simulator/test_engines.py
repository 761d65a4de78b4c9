"""The engines that are shipped for tests of a whole engine: each has what its name says, and nothing else."""

from __future__ import annotations

import pytest

from simulator.scenario import built_in, load
from simulator.timeline import timeline_of
from simulator.truth import CylinderTruth, truth

FOURS = sorted(name for name in built_in() if name.startswith("four-") and name != "four-cylinder")
SOUND_PCT = (4.0, 8.0)


def rows(name: str) -> dict[int, CylinderTruth]:
    return {row.cylinder: row for row in truth(load(name))}


def sound(row: CylinderTruth) -> bool:
    low, high = SOUND_PCT
    return not row.conditions and low < row.as_found_loss_pct == row.after_tap_loss_pct < high and row.crank_holds


def worse(name: str, number: int) -> dict[str, float]:
    """By how many mm2 each path of this cylinder leaks more than on the sound engine, as found."""
    found, base = (rows(each)[number].as_found_mm2_by_path for each in (name, "four-sound"))
    more = {path: round(found[path] - base.get(path, 0.0), 9) for path in found}
    return {path: area for path, area in more.items() if area != 0.0}


def test_the_engines_that_are_promised() -> None:
    names = "sound burnt-valve worn-rings head-gasket debris cold wrong-order"
    assert sorted(f"four-{name}" for name in names.split()) == FOURS
    assert "v8" in built_in()


@pytest.mark.parametrize("name", FOURS)
def test_a_test_of_a_small_engine_is_short(name: str) -> None:
    ends_s = timeline_of(load(name)).ends_s
    assert ends_s is not None and ends_s < 70.0
    assert load(name).engine.order == [1, 3, 4, 2]


def test_the_sound_engine() -> None:
    assert list(rows("four-sound")) == [1, 3, 4, 2]
    assert all(sound(row) for row in rows("four-sound").values())


def test_a_burnt_valve_leaks_past_the_exhaust_and_taps_do_not_help() -> None:
    three = rows("four-burnt-valve")[3]
    assert worse("four-burnt-valve", 3) == {"exhaust": 0.56}
    assert three.as_found_loss_pct == three.after_tap_loss_pct > 30.0
    assert (three.worst_path, three.conditions) == ("exhaust", ["burnt_valve"])
    assert [number for number, row in rows("four-burnt-valve").items() if not sound(row)] == [3]


def test_worn_rings_are_everywhere_and_taps_do_not_help() -> None:
    for number, row in rows("four-worn-rings").items():
        assert list(worse("four-worn-rings", number)) == ["crankcase"]
        assert row.as_found_loss_pct == row.after_tap_loss_pct > 25.0
        assert (row.worst_path, row.conditions) == ("crankcase", ["worn_rings"])


def test_a_head_gasket_joins_two_neighbours() -> None:
    found = rows("four-head-gasket")
    for number in (2, 3):
        assert worse("four-head-gasket", number) == {"next_cylinder": 0.42}
        assert found[number].as_found_loss_pct > 25.0
        assert (found[number].worst_path, found[number].conditions) == ("next_cylinder", ["head_gasket"])
    assert sound(found[1]) and sound(found[4])


def test_debris_is_cleared_by_the_taps() -> None:
    four, base = rows("four-debris")[4], rows("four-sound")[4]
    assert worse("four-debris", 4) == {"exhaust": 0.25}
    assert four.as_found_loss_pct > 15.0
    assert four.after_tap_mm2_by_path["exhaust"] - base.after_tap_mm2_by_path["exhaust"] == pytest.approx(0.0025)
    assert [number for number, row in rows("four-debris").items() if not sound(row)] == [4]


def test_a_cold_engine_is_somewhat_higher_everywhere_past_its_rings() -> None:
    warm = rows("four-sound")
    for number, row in rows("four-cold").items():
        assert list(worse("four-cold", number)) == ["crankcase"]
        assert 1.5 < row.as_found_loss_pct / warm[number].as_found_loss_pct < 3.0
        assert row.conditions == ["cold_engine"]


def test_in_the_wrong_order_only_the_first_cylinder_is_at_its_top() -> None:
    found = rows("four-wrong-order")
    assert [(number, row.crank_off_deg) for number, row in found.items()] == [(1, 0), (2, 360), (3, 180), (4, 180)]
    assert sound(found[1])
    for number in (2, 3, 4):
        assert found[number].as_found_loss_pct > 99.0
        assert found[number].open_valve_mm2 == 20.0
        assert worse("four-wrong-order", number) == {}


def test_the_eight_has_two_things_to_find() -> None:
    found = rows("v8")
    assert list(found) == load("v8").engine.order == [1, 8, 4, 3, 6, 5, 7, 2]
    assert {number: row.conditions for number, row in found.items() if not sound(row)} == {
        5: ["burnt_valve"],
        2: ["debris"],
    }
    assert found[5].as_found_loss_pct == found[5].after_tap_loss_pct > 30.0
    assert found[2].as_found_loss_pct > 15.0 and SOUND_PCT[0] < found[2].after_tap_loss_pct < SOUND_PCT[1]


def test_truth_says_what_it_is_measured_with() -> None:
    row = rows("v8")[1]
    assert (row.set_point_psi, row.restrictor_mm) == (100.0, 1.016)
    assert row.restrictor_area_mm2 == pytest.approx(0.8 * 3.14159265 * 0.508**2)
    assert row.as_found_area_mm2 == pytest.approx(sum(row.as_found_mm2_by_path.values()))
