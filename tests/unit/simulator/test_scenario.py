"""Scenario files: those that are shipped, and those that are wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulator.build import bench_of, board_traits, front_end_of
from simulator.errors import ScenarioError
from simulator.scenario import built_in, load, parse
from simulator.timeline import timeline_of
from simulator.truth import truth

MINIMAL = """
title = "t"
engine = { name = "invented", order = [1] }
cylinder = [{ number = 1 }]
"""


@pytest.mark.parametrize("name", sorted(built_in()))
def test_each_built_in_scenario_is_sound_and_names_no_real_engine(name: str) -> None:
    scenario = load(name)
    assert scenario.engine.name.endswith(("(invented)", "(no engine)"))
    assert timeline_of(scenario).cues


def test_the_scenarios_that_are_promised() -> None:
    assert {"four-cylinder", "steady", "rough-line", "bare"} <= set(built_in())


def test_demonstration_shows_what_it_says() -> None:
    scenario = load("four-cylinder")
    rows = {row.cylinder: row for row in truth(scenario)}
    assert scenario.engine.order == [1, 3, 4, 2] == list(rows)
    assert rows[3].as_found_loss_pct == pytest.approx(28.0, abs=0.1)
    assert rows[3].worst_path == "exhaust"
    assert rows[4].as_found_loss_pct == pytest.approx(14.0, abs=0.1)
    assert rows[4].after_tap_loss_pct == pytest.approx(6.0, abs=0.1)
    for number in (1, 2):
        assert 4.0 < rows[number].as_found_loss_pct == rows[number].after_tap_loss_pct < 8.0
    assert 60.0 <= (timeline_of(scenario).ends_s or 0.0) <= 75.0


def test_truth_counts_only_the_taps_on_the_cylinder_itself() -> None:
    scenario = parse(
        """
        title = "t"
        engine = { name = "invented", order = [1, 2] }
        cylinder = [{ number = 1, debris_mm2 = { intake = 0.4 } }, { number = 2, debris_mm2 = { intake = 0.4 } }]
        script = { cylinder = [{ number = 2, tap = { count = 2, path = "intake", clears = 0.5 } }] }
        """,
        "t",
    )
    assert [row.after_tap_area_mm2 for row in truth(scenario)] == pytest.approx([0.4, 0.1])


@pytest.mark.parametrize(
    ("stored", "lines"),
    [
        ("none", {}),
        ("nominal", {"SUPPLY": (500_000, 258_553, 20260101), "CYLINDER": (500_000, 258_553, 20260101)}),
        ("exact", {"SUPPLY": (513_333, 255_993, 20260101), "CYLINDER": (500_000, 258_553, 20260101)}),
    ],
)
def test_errors_of_a_transducer_and_the_calibration_that_the_board_keeps(stored: str, lines: dict) -> None:
    """Half a psi is 13.33 mV of 4 V over 150 psi; a span that is 1 % too large is 1 % less pressure for each volt."""
    supply = "transducer = { supply = { zero_error_psi = 0.5, span_error_pct = 1.0 } }"
    scenario = parse(MINIMAL + supply + f'\nboard = {{ calibration = "{stored}" }}', "t")
    assert board_traits(scenario).calibration == lines
    traits = front_end_of(scenario, bench_of(scenario, 1), 1).supply.traits
    assert traits.zero_v == pytest.approx(0.5 + 0.5 * 4.0 / 150.0)
    assert traits.volts_per_pa * 6894.757293168361 == pytest.approx(1.01 * 4.0 / 150.0)


def test_a_scenario_file_is_found_by_its_path(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(MINIMAL, encoding="utf-8")
    assert load(str(path)).title == "t"


WRONG = [
    ("bench = { hose = 3 }", ["bench", "'hose'", "did you mean 'hose_cc'", "set_point_psi", "vent_area_mm2"]),
    ("nonsense = 1", ["the file", "'nonsense'", "allowed here", "title"]),
    ('bench = { hose_cc = "20" }', ["bench.hose_cc", "valid number"]),
    ("bench = { hose_cc = -1 }", ["bench.hose_cc", "greater than 0"]),
    ("bench = { heat_w_per_k = 1000 }", ["bench", "heat_w_per_k must be at most 50, or inf"]),
    ("board = { bits = 20 }", ["board.bits", "less than or equal to 16"]),
    ('board = { reference = "ratio" }', ["board.reference", "'RATIO' or 'ABS'"]),
    ('board = { maker = "A,B" }', ["board", "without comma"]),
    ("compressor = { low_psi = 200 }", ["compressor", "low_psi must be below high_psi"]),
    ('action = [{ do = "jump" }]', ["action[1]", "'jump'", "'connect'", "'unplug'"]),
    ('action = [{ do = "vent" }, { do = "droop", to_psi = 90 }]', ["action[2].droop.for_s", "required"]),
    ('action = [{ do = "tap", openms = 5 }]', ["action[1].tap", "'openms'", "open_ms"]),
    ('action = [{ do = "connect", cylinder = 3 }]', ["action 1 names cylinder 3", "allowed: 1"]),
    ("script = { cylinder = [{ number = 2 }] }", ["script.cylinder names cylinder 2"]),
    ('condition = [{ what = "rust" }]', ["condition[1]", "'rust'", "'burnt_valve'", "'head_gasket'"]),
    ('condition = [{ what = "debris", cylinder = 3, area_mm2 = 1 }]', ["condition 1 names cylinder 3", "allowed: 1"]),
    (
        'condition = [{ what = "head_gasket", between = [1, 1], area_mm2 = 1 }]',
        ["condition[1].head_gasket", "between names two cylinders"],
    ),
    ('action = [{ do = "connect", cylinder = 1, off_tdc_deg = 400 }]', ["action[1].connect.off_tdc_deg", "360"]),
]


@pytest.mark.parametrize(("tables", "said"), WRONG, ids=[tables for tables, _ in WRONG])
def test_a_wrong_scenario_says_file_key_and_what_is_allowed(tables: str, said: list[str]) -> None:
    with pytest.raises(ScenarioError) as caught:
        parse(MINIMAL + tables, "own.toml")
    message = str(caught.value)
    assert "own.toml" in message
    assert caught.value.exit_code == 65
    for part in said:
        assert part in message


def test_rod_shorter_than_the_throw() -> None:
    with pytest.raises(ScenarioError, match="rod_mm must be longer"):
        parse(MINIMAL.replace("order = [1]", "order = [1], rod_mm = 40.0"), "own.toml")


@pytest.mark.parametrize("order", ["[1, 2]", "[3]"])
def test_order_names_only_cylinders_that_are_there(order: str) -> None:
    with pytest.raises(ScenarioError, match=r"engine\.order names only those"):
        parse(MINIMAL.replace("[1]", order, 1), "own.toml")


def test_text_that_is_no_toml() -> None:
    with pytest.raises(ScenarioError, match=r"own.toml is not a TOML file"):
        parse("title = ", "own.toml")


def test_unknown_name_lists_the_known() -> None:
    with pytest.raises(ScenarioError, match="four-cylinder"):
        load("five-cylinder")


def test_binary_file(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ScenarioError, match="cannot be read"):
        load(str(path))
