"""A profile: what is refused with which reason, what follows from it, and what it says it cannot judge."""

from __future__ import annotations

from typing import Any

import pytest

from daq.errors import UsageError
from daq.procedure import engine
from daq.procedure.crank_geometry import NM_PER_LBF_FT, assumed_resistance_nm
from daq.procedure.crank_turns import also_at_top, crank_steps, turn_deg
from daq.procedure.engine import EngineProfile, Layout

INCH = 0.0254
FOUR: dict[str, Any] = {"name": "four", "firing_order": (1, 3, 4, 2), "layout": Layout.INLINE}
EIGHT = EngineProfile(
    name="eight", firing_order=(1, 8, 4, 3, 6, 5, 7, 2), layout=Layout.VEE, banks=((1, 3, 5, 7), (2, 4, 6, 8))
)
TWIN = EngineProfile(
    name="45 degree twin", firing_order=(1, 2), layout=Layout.VEE, banks=((1,), (2,)), intervals_deg=(315.0, 405.0)
)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"firing_order": (1, 3, 3, 2)}, "each cylinder exactly once"),
        ({"firing_order": tuple(range(1, 18))}, "1 to 16 cylinders"),
        ({"strokes": 3}, "4 or 2 strokes"),
        ({"intervals_deg": (180.0, 180.0, 180.0)}, "as many firing intervals as cylinders"),
        ({"intervals_deg": (180.0, 180.0, 180.0, 181.0)}, "make 720 degrees together"),
        ({"intervals_deg": (180.0, 180.0, 180.0, 180.0), "strokes": 2}, "make 360 degrees together"),
        ({"intervals_deg": (-90.0, 270.0, 270.0, 270.0)}, "0 or more"),
        ({"intervals_deg": (float("nan"), 180.0, 180.0, 180.0)}, "0 or more"),
        ({"layout": Layout.SINGLE}, "`single` is one"),
        ({"firing_order": (1,)}, "one cylinder is `single`"),
        ({"banks": ((1, 2), (3, 4))}, "inline has 1 bank"),
        ({"layout": Layout.VEE, "banks": ((1, 2, 3, 4),)}, "vee has 2 banks"),
        ({"layout": Layout.FLAT, "banks": ((1, 2), (3,))}, "exactly one bank"),
        ({"layout": Layout.FLAT, "banks": ((1, 2), (2, 3, 4))}, "exactly once"),
        ({"bore_m": 3.5}, "bore must lie between 10 and 1000 mm"),
        ({"bore_m": float("nan")}, "bore must lie between"),
        ({"stroke_m": 0.0}, "stroke must lie"),
        ({"stroke_m": 0.09, "rod_length_m": 0.045}, "longer than half of the stroke"),
        ({"own_restrictor_m": 0.040}, "restrictor must lie between 0.1 and 10 mm"),
        ({"clearance_m3": 5e-5, "compression_ratio": 10.0}, "not both"),
        ({"compression_ratio": 1.0}, "between 1.5 and 40"),
        ({"clearance_m3": 49.0}, "cubic inches or cubic centimetres"),
        ({"set_point_pa": 100.0}, "set point must lie"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(change: dict[str, Any], reason: str) -> None:
    with pytest.raises(UsageError) as caught:
        EngineProfile(**{**FOUR, **change})
    assert reason in str(caught.value)


def test_the_order_is_that_of_the_profile() -> None:
    assert EngineProfile(**FOUR).order == engine.EngineOrder("four", (1, 3, 4, 2))


def test_neighbours_stand_beside_each_other_in_a_bank() -> None:
    four = EngineProfile(**FOUR)
    assert [four.neighbours(c) for c in (1, 2, 4)] == [(2,), (1, 3), (3,)]
    assert [EIGHT.neighbours(c) for c in (1, 3, 8)] == [(3,), (1, 5), (6,)]
    assert EngineProfile(**FOUR, separate_cylinders=True).neighbours(2) == ()
    unknown = EngineProfile(name="", firing_order=(1, 2, 3, 4), layout=Layout.FLAT)
    assert unknown.neighbours(2) == () and engine.NO_BANKS in unknown.cannot_judge


def test_turns_of_even_and_uneven_firing() -> None:
    assert [s.turn_deg for s in crank_steps(EIGHT)] == [90] * 8
    assert [(s.cylinder, s.at_deg, s.turn_deg, s.following) for s in crank_steps(TWIN)] == [
        (1, 0, 315, 2),
        (2, 315, 405, 1),
    ]
    assert turn_deg(EIGHT, 4, 1) == 540 and turn_deg(TWIN, 2, 1) == 405
    single = EngineProfile(name="", firing_order=(1,), layout=Layout.SINGLE)
    assert [s.turn_deg for s in crank_steps(single)] == [720]


def test_the_partner_is_at_the_top_with_open_valves() -> None:
    assert [also_at_top(EngineProfile(**FOUR), c) for c in (1, 3)] == [(4,), (2,)]
    assert also_at_top(EIGHT, 1) == (6,) and also_at_top(TWIN, 1) == ()
    assert also_at_top(EngineProfile(**FOUR, strokes=2), 1) == ()


def test_geometry_and_clearance() -> None:
    lengths = {"bore_m": 0.086, "stroke_m": 0.086, "rod_length_m": 0.143}
    by_ratio = EngineProfile(**FOUR, **lengths, compression_ratio=11.0).geometry
    assert by_ratio is not None and by_ratio.clearance_m3 == pytest.approx(by_ratio.swept_m3 / 10)
    by_volume = EngineProfile(**FOUR, **lengths, clearance_m3=5e-5).geometry
    assert by_volume is not None and by_volume.clearance_m3 == 5e-5
    assert EngineProfile(**FOUR, bore_m=0.086).geometry is None


@pytest.mark.parametrize(
    ("bore_in", "own", "restrictor_in"),
    [(4.99, None, 0.040), (5.00, None, 0.060), (5.25, None, 0.060), (5.25, 0.050, 0.050), (None, None, None)],
)
def test_restrictor_by_bore(bore_in: float | None, own: float | None, restrictor_in: float | None) -> None:
    """Ref: AC 43.13-1B Chg 1, paragraph 8-14: 0.040 in below 5.00 in of bore, 0.060 in from there on."""
    found = EngineProfile(
        **FOUR, bore_m=bore_in and bore_in * INCH, own_restrictor_m=own and own * INCH
    ).restrictor_m  # fmt: skip
    assert found == (None if restrictor_in is None else pytest.approx(restrictor_in * INCH))


def test_what_cannot_be_judged_is_said() -> None:
    two_stroke = EngineProfile(name="", firing_order=(1,), layout=Layout.SINGLE, strokes=2, valves=False)
    said = two_stroke.cannot_judge
    assert {engine.NO_VALVES, engine.PORTS, engine.CRANKCASE, engine.NO_COMPARISON, engine.NO_GEOMETRY} <= set(said)
    assert engine.CERTIFIED not in said
    uniflow = EngineProfile(**FOUR, strokes=2)
    assert engine.PORTS in uniflow.cannot_judge and engine.CRANKCASE not in uniflow.cannot_judge
    radial = EngineProfile(name="", firing_order=(1, 3, 5, 2, 4), layout=Layout.RADIAL, certified=True)
    assert {engine.HANGING_RODS, engine.CERTIFIED} <= set(radial.cannot_judge)
    assert set(engine.ALWAYS_HIDDEN) <= set(EIGHT.cannot_judge)


def test_the_assumed_resistance_is_low_and_lower_for_few_cylinders() -> None:
    assert [round(assumed_resistance_nm(n) / NM_PER_LBF_FT, 6) for n in (1, 2, 4, 8, 16)] == [1.25, 2.5, 5, 5, 5]
