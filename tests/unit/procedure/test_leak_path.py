"""Where the air goes: what a mechanic would conclude from the same signs, and where he would say nothing.

The expectations are common practice of the trade, no source.
"""

from __future__ import annotations

import itertools

import pytest

from daq.procedure import leak_rules
from daq.procedure.leak_path import Cause, LeakPath, Pressures, Standing, leak_path
from daq.procedure.leak_rules import PORT_RULES, RULES, Sign
from daq.records import Finding, Place, Strength, TapVerdict

NONE, FAINT, CLEAR = Strength.NONE, Strength.FAINT, Strength.CLEAR


def heard_at(place: Place, strength: Strength, note: str = "", neighbour: int | None = None) -> Finding:
    return Finding(1, 9.0, 1, 3, place, strength, neighbour, note)


def path(pressures: Pressures | None = None, **heard: Strength) -> LeakPath:
    told = [heard_at(Place(place.replace("_", "-")), strength) for place, strength in heard.items()]
    return leak_path(told, pressures or Pressures())


CLASSIC = [
    ({"exhaust": CLEAR, "intake": NONE, "crankcase": FAINT}, Pressures(), Cause.EXHAUST_VALVE),
    ({"intake": CLEAR, "exhaust": NONE}, Pressures(), Cause.INTAKE_VALVE),
    ({"intake": NONE, "exhaust": NONE, "crankcase": CLEAR}, Pressures(), Cause.RINGS),
    ({"next_cylinder": CLEAR}, Pressures(neighbour_high=True), Cause.GASKET_BETWEEN),
    ({"next_cylinder": FAINT}, Pressures(neighbour_high=True), Cause.GASKET_BETWEEN),
    ({"coolant": CLEAR}, Pressures(), Cause.COOLANT_PASSAGE),
    ({"elsewhere": CLEAR, "exhaust": NONE}, Pressures(), Cause.FITTING),
    ({"exhaust": CLEAR}, Pressures(taps=TapVerdict.IMPROVED), Cause.SEAT_DIRT),
    ({"crankcase": FAINT}, Pressures(cold=True, all_high=True), Cause.COLD_ENGINE),
    ({"intake": CLEAR, "exhaust": CLEAR}, Pressures(), Cause.PISTON_POSITION),
]


@pytest.mark.parametrize(("heard", "pressures", "cause"), CLASSIC)
def test_the_classic_cases(heard: dict[str, Strength], pressures: Pressures, cause: Cause) -> None:
    found = path(pressures, **heard)
    assert found.told and found.suspects[0].cause is cause and found.suspects[0].standing is Standing.LIKELY
    assert found.next_check == leak_rules.CHECKS[cause]
    assert leak_rules.CAUSES[cause] in found.sentence


def test_silence_is_no_answer() -> None:
    nothing = leak_path((), Pressures())
    assert not nothing.told and nothing.suspects == () and nothing.likely == ()
    assert nothing.sentence == leak_rules.NOTHING_SAID and nothing.next_check == leak_rules.LISTEN


def test_heard_nowhere_is_cannot_tell_and_names_the_places_left() -> None:
    found = path(intake=NONE, exhaust=NONE, crankcase=NONE)
    assert not found.told and found.sentence == leak_rules.NOTHING_HEARD
    assert "coolant" in found.next_check and "exhaust" not in found.next_check


def test_a_faint_hiss_alone_settles_nothing() -> None:
    found = path(crankcase=FAINT)
    assert not found.told and found.suspects[0].standing is Standing.POSSIBLE
    assert "Cannot tell" in found.sentence and leak_rules.CAUSES[Cause.RINGS] in found.sentence


def test_two_leaks_are_both_named() -> None:
    found = path(intake=NONE, exhaust=CLEAR, crankcase=CLEAR)
    assert set(found.likely) == {Cause.EXHAUST_VALVE, Cause.RINGS}
    assert found.sentence.startswith("More than one")


def test_a_contradiction_lowers_a_cause_and_is_named() -> None:
    alone = path(exhaust=CLEAR).suspects[0]
    found = path(Pressures(all_high=True), exhaust=CLEAR)
    valve = next(one for one in found.suspects if one.cause is Cause.EXHAUST_VALVE)
    assert valve.points < alone.points and valve.standing is Standing.POSSIBLE
    assert len(valve.speaks_against) == 1 and "All cylinders are high" in valve.speaks_against[0]


def test_contradicted_on_all_sides_is_said() -> None:
    found = path(Pressures(taps=TapVerdict.NO_CHANGE), coolant=FAINT, intake=NONE, exhaust=NONE, crankcase=NONE)
    assert not found.told and found.suspects[0].cause is Cause.COOLANT_PASSAGE
    no_fit = leak_path([heard_at(Place.CRANKCASE, FAINT)], Pressures(taps=TapVerdict.IMPROVED, valves=True))
    assert no_fit.suspects[0].cause is Cause.SEAT_DIRT


def test_the_last_word_on_a_place_counts_and_the_strongest_plug_hole() -> None:
    again = leak_path([heard_at(Place.EXHAUST, CLEAR), heard_at(Place.EXHAUST, NONE)], Pressures())
    assert not again.told and [told.strength for told in again.heard] == [NONE]
    plugs = [
        heard_at(Place.NEXT_CYLINDER, NONE, neighbour=2),
        heard_at(Place.NEXT_CYLINDER, CLEAR, "a strong jet", neighbour=4),
    ]
    found = leak_path(plugs, Pressures())
    assert found.likely == (Cause.GASKET_BETWEEN,) and found.suspects[0].speaks_against == ()
    assert "cylinder 4" in found.suspects[0].speaks_for[0]


def test_without_valves_no_valve_is_blamed() -> None:
    found = path(Pressures(valves=False, taps=TapVerdict.IMPROVED), exhaust=CLEAR, intake=CLEAR)
    causes = {one.cause for one in found.suspects}
    assert found.suspects[0].cause is Cause.RINGS
    assert not causes & {Cause.INTAKE_VALVE, Cause.EXHAUST_VALVE, Cause.SEAT_DIRT}
    assert not any("aps " in text for one in found.suspects for text in (*one.speaks_for, *one.speaks_against))


@pytest.mark.parametrize("valves", [True, False])
def test_the_order_of_what_was_said_does_not_matter(valves: bool) -> None:
    told = [heard_at(Place.EXHAUST, CLEAR), heard_at(Place.CRANKCASE, FAINT), heard_at(Place.COOLANT, NONE)]
    pressures = Pressures(TapVerdict.NO_CHANGE, neighbour_high=False, rocking_changed=False, valves=valves)
    results = {leak_path(order, pressures).suspects for order in itertools.permutations(told)}
    assert len(results) == 1


# ---- the table itself ------------------------------------------------------------------------------------------


def test_every_rule_is_used_once_and_says_where_it_is_from() -> None:
    keys = [(rule.cause, rule.seen) for rule in (*RULES, *PORT_RULES)]
    assert len(keys) == len(set(keys)) and all(rule.points and rule.why for rule in RULES)
    reasons = path(exhaust=CLEAR).suspects[0].speaks_for
    assert all("common practice, no source" in text for text in reasons)


def test_everything_has_words() -> None:
    assert set(leak_rules.CAUSES) == set(leak_rules.CHECKS) == set(Cause)
    assert set(leak_rules.PLACES) == set(Place) and set(leak_rules.SIGNS) == set(Sign)
    assert {rule.cause for rule in RULES} == set(Cause)
    heard = {rule.seen for rule in RULES if not isinstance(rule.seen, Sign)}
    assert heard == set(itertools.product(Place, Strength))


def test_clear_weighs_more_than_faint_and_none_speaks_against() -> None:
    points = {(rule.cause, rule.seen): rule.points for rule in RULES}
    for (cause, seen), weight in points.items():
        if isinstance(seen, tuple) and seen[1] is FAINT:
            assert points[cause, (seen[0], CLEAR)] > weight > 0 > points[cause, (seen[0], NONE)]
