from __future__ import annotations

import json
import math
import random
from dataclasses import replace
from functools import cache
from typing import Any, get_args

import jsonschema
import pytest

from daq import records
from daq.records import BadLines, Board, LineFormat, Readings, ReferenceMode, Session, StableReading
from daq.sinks.payloads import (
    Stamp,
    Stamper,
    StatusFields,
    describe_body,
    documents,
    event_body,
    live_body,
    reply_body,
    rfc3339,
    session_body,
    status_body,
    stream_of,
)
from daq.units import PA_PER_PSI, PressureUnit
from tests.suites.deliveries import BOARD, every_event, readings, stable
from tests.suites.mqtt_bench import BENCH


@cache
def schema(name: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(documents.schema(name))


NOW = Stamp("garage", "boot1", 3, 1_767_225_600.25, 12.5)
ON_BOARD = replace(NOW, segment=2)
SESSION = Session(2, 3.0, "test-four", 2, "as-found", 4)
HEAD = {"v": 1, "bench": "garage", "boot": "boot1", "seq": 3, "t": "2026-01-01T00:00:00.250000Z", "mono_s": 12.5}


def announced(event: records.Event, unit: PressureUnit = PressureUnit.PSI) -> dict[str, Any]:
    rendered = event_body(event, bench="garage", boot="boot1", seq=3, utc_s=1_767_225_600.25, unit=unit)
    assert rendered is not None
    return strict(rendered[1])


def strict(body: str) -> dict[str, Any]:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON (RFC 8259)")

    tree = json.loads(body, parse_constant=refuse)
    assert isinstance(tree, dict)
    return tree


def state_bodies() -> dict[str, str]:
    return {
        "live": live_body(readings(1.0, 3, 2), SESSION, ON_BOARD, PressureUnit.PSI),
        "session": session_body(SESSION, ON_BOARD),
        "status": status_body(StatusFields(), 0, NOW),
        "describe": describe_body(BENCH, BOARD, NOW),
        "reply": reply_body("c1", "next", "accepted", "", NOW),
    }


# ---- what all have in common


@pytest.mark.parametrize("name", ["live", "session", "status", "describe", "reply"])
def test_state_is_one_flat_object_with_the_head_first(name: str) -> None:
    tree = strict(state_bodies()[name])
    assert dict(list(tree.items())[:6]) == HEAD
    assert all(not isinstance(value, dict | list) for value in tree.values())
    schema(name).validate(tree)


@pytest.mark.parametrize("event", [e for e in every_event() if stream_of(e)], ids=lambda e: type(e).__name__)
def test_every_event_is_one_flat_object_by_the_published_schema(event: records.Event) -> None:
    tree = announced(event)
    assert {key: tree[key] for key in HEAD} == HEAD | {"mono_s": event.t_s}
    assert tree["segment"] == event.segment
    assert all(not isinstance(value, dict | list) for value in tree.values())
    schema(str(stream_of(event))).validate(tree)


def test_no_type_of_event_is_forgotten() -> None:
    assert {type(event) for event in every_event()} == set(get_args(records.Event))


def test_kinds_have_plain_names() -> None:
    assert [announced(e)["kind"] for e in every_event() if stream_of(e) == "event"] == [
        "link-up", "board-restarted", "test-started", "supply-held", "air-on", "soft-step", "gap", "bad-lines",
        "board-fault", "mark", "expectation", "tap", "tap-effect", "fault", "cue", "finding", "withdrawn", "zero-check",
        "cylinder-done", "test-done", "link-down",
    ]  # fmt: skip


def test_where_an_event_goes() -> None:
    assert stream_of(stable()) == "reading"
    assert stream_of(SESSION) is None
    assert event_body(SESSION, bench="b", boot="1", seq=0, utc_s=0.0, unit=PressureUnit.PSI) is None


def test_no_number_is_ever_nan_or_infinite() -> None:
    """Every float of every record is replaced, one after the other."""
    for event in every_event():
        if isinstance(event, Session):
            continue
        names = [name for name in event.__slots__ if isinstance(getattr(event, name), float) and name != "t_s"]
        for name in names:
            for value in (math.nan, math.inf, -math.inf):
                tree = announced(replace(event, **{name: value}))
                schema(str(stream_of(event))).validate(tree)
    nothing = readings(0.0, 1)
    assert math.isnan(nothing.loss_pct[0])
    assert strict(live_body(nothing, None, ON_BOARD, PressureUnit.PSI))["loss_pct"] is None


# ---- numbers


def test_numbers_are_rounded_as_they_deserve() -> None:
    noisy = replace(
        stable(),
        supply_gauge_pa=551_999.9499,
        loss_pct=12.345678,
        leak_area_m2=0.2512345678e-6,
        leak_diameter_m=0.56e-3,
    )
    tree = announced(noisy)
    assert (tree["supply_gauge_pa"], tree["loss_pct"], tree["leak_area_mm2"]) == (551_999.9, 12.3457, 0.251235)
    assert (tree["leak_diameter_mm"], tree["flow_g_s"], tree["flow_anr_l_min"]) == (0.56, 0.4, 18.0)


@pytest.mark.parametrize(
    ("unit", "code", "supply"), [(PressureUnit.PSI, "[psi]", 100.0), (PressureUnit.KPA, "kPa", 689.476)]
)
def test_the_unit_of_the_user_stands_beside_the_pascal(unit: PressureUnit, code: str, supply: float) -> None:
    """Ref: UCUM, codes of the pound per square inch and the kilopascal; NIST SP 811 B.8, 1 psi = 6.894 757 kPa."""
    tree = announced(replace(stable(), supply_gauge_pa=100 * PA_PER_PSI), unit)
    assert (tree["supply_gauge_pa"], tree["supply_gauge_shown"], tree["shown_unit"]) == (689_475.7, supply, code)


def test_a_reading_names_itself_and_its_calibration() -> None:
    tree = announced(stable())
    assert (tree["id"], tree["calibration_id"], tree["cylinder"]) == ("boot1-3", "cal-1", 2)


def test_the_live_message_is_the_last_row() -> None:
    rows = readings(1.0, 3, 2)
    tree = strict(live_body(rows, SESSION, ON_BOARD, PressureUnit.PSI))
    assert (tree["loss_pct"], tree["loss_at_set_pct"], tree["leak_area_mm2"]) == (12.5, 12.6, 0.125)
    assert (tree["supply_held"], tree["stable"], tree["cylinder"], tree["phase"]) == (True, False, 2, "as-found")
    assert tree["ttl_s"] == 5.0


def test_a_session_tells_the_whole_order_and_how_far_it_came() -> None:
    session = Session(2, 3.0, "test-four", 4, "as-found", 2, "spring", (1,), (3,), (1, 3, 4, 2))
    tree = strict(session_body(session, ON_BOARD))
    assert (tree["order"], tree["done"], tree["skipped"]) == ("1-3-4-2", "1", "3")
    assert (tree["cylinder"], tree["next_cylinder"]) == (4, 2)
    assert strict(session_body(SESSION, ON_BOARD))["order"] == ""
    undo = [strict(session_body(replace(session, can_undo=so), ON_BOARD))["can_undo"] for so in (True, False)]
    assert undo == [True, False]


def test_live_reads_each_array_at_its_end() -> None:
    rows = readings(1.0, 2)
    ends = {
        name: getattr(rows, name).copy()
        for name in ("supply_gauge_pa", "cylinder_gauge_pa", "supply_held", "stable", "flags")
    }
    ends["supply_gauge_pa"][0], ends["cylinder_gauge_pa"][0], ends["flags"][0] = 1.0, 2.0, 3
    ends["supply_held"][0], ends["stable"][0] = False, True
    tree = strict(live_body(replace(rows, **ends), None, ON_BOARD, PressureUnit.PSI))
    assert (tree["supply_gauge_pa"], tree["cylinder_gauge_pa"], tree["flags"]) == (552_000.0, 483_000.0, 64)
    assert (tree["supply_held"], tree["stable"]) == (True, False)
    assert (tree["cylinder"], tree["phase"]) == (None, "")


# ---- words


def test_bad_lines_count_and_show_the_first_one() -> None:
    tree = announced(BadLines(1, 3.5, {"crc": 2, "grammar": 1}, b"S,00\xff\x00\n"))
    assert (tree["rejected"], tree["reasons"], tree["evidence"]) == (3, "crc=2 grammar=1", r"S,00\xff\x00\n")


def test_the_worst_cylinder_is_the_one_that_leaks_most_at_the_end() -> None:
    done = next(event for event in every_event() if isinstance(event, records.CylinderDone))
    cured = replace(done, cylinder=1, as_found=_at_set(90.0), after_tap=_at_set(5.0))
    worse = replace(done, cylinder=3, as_found=_at_set(20.0), after_tap=None)
    tree = announced(records.TestDone(1, 21.0, "test-four", (cured, worse)))
    assert (tree["cylinders"], tree["worst_cylinder"], tree["worst_loss_pct"]) == (2, 3, 20.0)
    empty = announced(records.TestDone(1, 21.0, "test-four"))
    assert (empty["cylinders"], empty["worst_cylinder"], empty["worst_loss_pct"]) == (0, None, None)


def _at_set(loss_pct: float) -> StableReading:
    return replace(stable(), loss_at_set_pct=loss_pct)


def test_supply_and_air_have_two_kinds_each() -> None:
    kinds = {
        announced(records.SupplyChange(1, 0.0, records.SupplyState.LOST, 1.0, 2.0, "droop"))["kind"],
        announced(records.AirChange(1, 0.0, records.AirState.OFF, 1.0))["kind"],
    }
    assert kinds == {"supply-lost", "air-off"}


def test_describe_tells_board_and_what_is_assumed() -> None:
    board = Board(LineFormat.BARE, 10, ReferenceMode.ABSOLUTE, maker="Garage", serial="7")
    tree = strict(describe_body(BENCH, board, NOW))
    assert (tree["board"], tree["line_format"], tree["adc_bits"], tree["rate_hz"]) == ("Garage 7", "bare", 10, None)
    assert (tree["reference_mode"], tree["assumed"]) == ("ABS", "discharge_coefficient")
    assert (tree["restrictor_diameter_mm"], tree["set_point_pa"]) == (1.016, 689_475.7)
    without = strict(describe_body(BENCH, None, NOW))
    assert (without["board"], without["line_format"], without["adc_bits"]) == ("", None, None)


def test_status_has_news_when_something_goes_wrong_but_not_when_it_counts_on() -> None:
    calm = StatusFields(line="up", newest_sample_age_s=0.1, samples=100)
    assert calm.news == replace(calm, samples=900, newest_sample_age_s=1.9, disk_free_bytes=5, queue_depth=3).news
    for change in (
        {"line": "down"}, {"faults": ("saturated",)}, {"newest_sample_age_s": 2.1}, {"newest_sample_age_s": None},
        {"bad_lines": 1}, {"missing_samples": 1}, {"board_restarts": 1}, {"dropped_records": 1}, {"line_detail": "x"},
    ):  # fmt: skip
        assert replace(calm, **change).news != calm.news, change  # type: ignore[arg-type]


def test_status_lists_faults_as_words() -> None:
    tree = strict(status_body(StatusFields(faults=("saturated", "disk-full")), 4, NOW))
    assert (tree["faults"], tree["reconnects"]) == ("saturated disk-full", 4)


# ---- identity and time


def test_each_stream_counts_for_itself() -> None:
    stamper = Stamper("garage", "boot1", lambda: 1000.0, iter([50.0, 52.5, 53.0]).__next__)
    first, second = stamper.now("status"), stamper.now("status")
    other = stamper.at("live", 2, 1.5, 900.0)
    assert [(s.seq, s.mono_s, s.segment) for s in (first, second, other)] == [
        (0, 2.5, None),
        (1, 3.0, None),
        (0, 1.5, 2),
    ]
    assert (first.utc_s, other.utc_s) == (1000.0, 901.5)


def test_times_are_rfc_3339_in_utc_to_the_microsecond() -> None:
    """Ref: RFC 3339 section 5.8, the instant 1985-04-12T23:20:50.52Z."""
    assert rfc3339(482_196_050.52) == "1985-04-12T23:20:50.520000Z"
    assert rfc3339(0.0) == "1970-01-01T00:00:00.000000Z"
    for _ in range(100):
        assert len(rfc3339(random.uniform(0, 4e9))) == 27


def test_readings_without_rows_have_no_live_message() -> None:
    with pytest.raises(IndexError):
        live_body(_none(readings(0.0, 1)), None, ON_BOARD, PressureUnit.PSI)


def _none(rows: Readings) -> Readings:
    return replace(rows, **{name: getattr(rows, name)[:0] for name in rows.__slots__ if name != "segment"})
