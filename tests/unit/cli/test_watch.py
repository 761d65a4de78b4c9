"""Faces made from messages alone: benches are never mixed up, and old or offline looks so."""

from __future__ import annotations

from typing import Any

from daq.cli.watch import Wall
from daq.sinks.terminal.face import state, wanted

LIVE: dict[str, Any] = {
    "supply_gauge_pa": 689_476.0, "cylinder_gauge_pa": 620_000.0, "loss_pct": 10.1, "supply_held": True, "stable": True,
}  # fmt: skip
SESSION = {"engine": "invented", "cylinder": 2, "phase": "as-found", "next_cylinder": 4}


def wall_of_two() -> Wall:
    wall = Wall()
    for bench, loss_pct in (("b", 20.0), ("a", 10.0)):
        wall.take(f"boretight/v1/{bench}/session", SESSION, 0.0)
        wall.take(f"boretight/v1/{bench}/live", LIVE | {"loss_pct": loss_pct}, 1.0)
    return wall


def test_each_bench_has_its_own_face() -> None:
    faces = wall_of_two().faces(1.5)
    assert [(face.bench, face.loss_pct) for face in faces] == [("a", 10.0), ("b", 20.0)]
    assert all(state(face) == "STABLE" for face in faces)


def test_a_bench_that_falls_silent_goes_stale_alone() -> None:
    wall = wall_of_two()
    wall.take("boretight/v1/a/live", LIVE, 10.0)
    assert [state(face) for face in wall.faces(10.5)] == ["STABLE", "STALE"]


def test_offline_and_a_dead_line_look_so() -> None:
    wall = wall_of_two()
    wall.take("boretight/v1/a/availability", {"availability": "offline"}, 1.2)
    wall.take("boretight/v1/b/status", {"line": "down"}, 1.2)
    assert [wanted(face) for face in wall.faces(1.5)] == ["NO BOARD ON THE LINE"] * 2


def test_a_retained_word_alone_is_no_reading() -> None:
    wall = Wall()
    wall.take("boretight/v1/a/availability", {"availability": "online"}, 0.0)
    (face,) = wall.faces(0.1)
    assert (face.loss_pct, state(face)) == (None, "STALE")


def test_other_messages_change_nothing() -> None:
    wall = wall_of_two()
    before = wall.faces(1.5)
    wall.take("boretight/v1/a/event", {"kind": "tap"}, 1.2)
    wall.take("boretight/v1/a/last/3", {"loss_pct": 99.0}, 1.2)
    assert wall.faces(1.5) == before
