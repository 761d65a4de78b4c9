from __future__ import annotations

import asyncio
import json
import re
import sqlite3
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from daq.errors import ConfigError, DataError, StorageError
from daq.records import BadLines, Delivery, Event, Gap, LinkChange, Marked, Samples, Session
from daq.sinks import payloads
from daq.sinks.base import Sink
from daq.sinks.store import open_readonly, read_samples
from daq.sinks.store.boot import Boot
from daq.sinks.store.sample_blocks import COLUMNS
from daq.sinks.store.store import Store
from tests.suites.deliveries import CALIBRATION, UTC_OFFSET_S, delivery, every_event, readings, samples, stable
from tests.suites.sink_suite import SinkSuite
from tests.unit.sinks.conftest import Child
from tests.unit.sinks.store_scenes import PlainMessages, rows, store, table, within, write


class TestStore(SinkSuite):
    def make(self, folder: Path) -> Sink:
        return store(folder)

    def taken(self, folder: Path, sink: Sink) -> list[str]:
        return [name.title().replace("_", "") for (name,) in rows(folder, "SELECT kind FROM event ORDER BY id")]


def read(folder: Path, boot: str = "boot-1") -> list[Samples]:
    return list(read_samples(open_readonly(folder / "bench.db"), boot))


def column(parts: list[Samples], name: str) -> list[int]:
    return [int(value) for each in parts for value in getattr(each, name)]


# ---- samples


def test_samples_come_back_exactly_however_they_were_delivered(tmp_path: Path) -> None:
    whole = samples(0, 30_000)  # 150 s at 200 Hz: more than two blocks
    cuts = [0, 1, 200, 201, 5000, 11_999, 12_000, 12_001, 25_000, 30_000]
    parts = [Samples(1, *(getattr(whole, name)[start:end] for name in COLUMNS)) for start, end in pairwise(cuts)]
    write(store(tmp_path), *[delivery(part) for part in parts])
    for name in COLUMNS:
        assert column(read(tmp_path), name) == getattr(whole, name).tolist()


def test_small_blocks_are_joined_where_the_clock_passes_a_minute(tmp_path: Path) -> None:
    made = store(tmp_path)

    async def scene() -> None:
        for second in range(130):
            await made.write(delivery(samples(second * 200, 200)))
        counts = [n for (n,) in rows(tmp_path, "SELECT n FROM sample_block ORDER BY start_us")]
        assert counts == [12_000, 12_000] + [200] * 10

    within(made, scene)
    blocks = table(tmp_path, "sample_block")
    assert [(each["start_us"], each["end_us"], each["n"]) for each in blocks] == [
        (0, 59_995_000, 12_000),
        (60_000_000, 119_995_000, 12_000),
        (120_000_000, 129_995_000, 2_000),
    ]
    assert [each["start_utc"] for each in blocks][1:] == ["2026-01-01T00:01:00.000000Z", "2026-01-01T00:02:00.000000Z"]
    assert sum(len(each["block"]) for each in blocks) / 26_000 < 1.75


def test_a_new_segment_and_a_jump_of_the_clock_begin_a_block(tmp_path: Path) -> None:
    write(
        store(tmp_path), delivery(samples(0, 10)), delivery(samples(0, 10, segment=2)), delivery(samples(90_000, 5, 2))
    )
    blocks = rows(tmp_path, "SELECT segment, start_us, n FROM sample_block ORDER BY id")
    assert blocks == [(1, 0, 10), (2, 0, 10), (2, 450_000_000, 5)]


def test_one_delivery_may_hold_hours(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(samples(0, 1_500_000)))
    assert [n for (n,) in rows(tmp_path, "SELECT n FROM sample_block")] == [12_000] * 125


def test_a_clock_that_stands_still_makes_no_endless_block(tmp_path: Path) -> None:
    n = 700_000
    still = Samples(1, *(np.zeros(n, np.int64) for _ in COLUMNS))
    write(store(tmp_path), delivery(still), delivery(still))
    assert sum(n for (n,) in rows(tmp_path, "SELECT n FROM sample_block")) == 2 * n


def test_a_damaged_block_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(samples(0, 36_000)))
    connection = sqlite3.connect(tmp_path / "bench.db")
    connection.execute("UPDATE sample_block SET block = substr(block, 1, 500) WHERE id = 2")
    connection.commit()
    connection.close()
    with pytest.raises(DataError, match="block 2 of boot-1"):
        read(tmp_path)
    told: list[DataError] = []
    parts = list(read_samples(open_readonly(tmp_path / "bench.db"), "boot-1", told.append))
    assert ([part.t_us[0] for part in parts], len(told)) == ([0, 120_000_000], 1)


# ---- readings


def test_the_first_tick_of_each_second_is_kept_however_it_is_delivered(tmp_path: Path) -> None:
    whole = readings(0.0, 100)
    one = store(tmp_path, "one")
    write(one, delivery(whole))
    write(store(tmp_path, "many"), *[delivery(readings(0.05 * tick, 1)) for tick in range(100)])
    times = "SELECT t_s FROM reading JOIN boot ON boot.id = boot_id WHERE boot.name = ? ORDER BY reading.id"
    assert [round(t, 2) for (t,) in rows(tmp_path, times, ["one"])] == [0.05, 1.0, 2.0, 3.0, 4.0, 5.0]
    assert rows(tmp_path, times, ["many"]) == rows(tmp_path, times, ["one"])


def test_each_segment_counts_its_own_seconds(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(readings(0.0, 10, 1)), delivery(readings(0.0, 10, 2)))
    assert [segment for (segment,) in rows(tmp_path, "SELECT segment FROM reading")] == [1, 2]


def test_units_stand_in_the_names_and_what_has_no_meaning_is_null(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(readings(0.0, 25)))
    first, second = table(tmp_path, "reading")
    assert (first["loss_pct"], first["leak_area_mm2"], first["flow_g_s"]) == (None, None, None)
    assert second["t_utc"] == "2026-01-01T00:00:01.000000Z"
    assert second["supply_gauge_pa"] == 552_000.0
    assert second["leak_area_mm2"] == pytest.approx(12.5e-8 * 1e6)
    assert second["flow_g_s"] == pytest.approx(12.5e-5 * 1e3)
    assert (second["supply_held"], second["stable"], second["flags"]) == (1, 0, 64)


# ---- events


def test_events_are_whole_in_detail_and_ready_in_body(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(*every_event()))
    found = table(tmp_path, "event")
    assert [json.loads(row["detail"])["t_s"] for row in found] == [event.t_s for event in every_event()]
    bad = next(row for row in found if row["kind"] == "bad_lines")
    assert json.loads(bad["detail"])["counts"] == {"crc": 2, "grammar": 1}
    assert json.loads(bad["detail"])["evidence"] == "S,00\\xff\n"
    assert [row["cylinder"] for row in found if row["kind"] == "stable_reading"] == [2, 2]
    assert [row["body"] for row in found[:2]] == [
        "bench-one/boot-1/0 LinkChange 0.0",
        "bench-one/boot-1/1 Restarted 0.1",
    ]
    assert [(row["stream"], row["seq"]) for row in found if row["stream"] == "reading"] == [
        ("reading", 0),
        ("reading", 1),
    ]
    session = next(row for row in found if row["kind"] == "session")
    assert (session["stream"], session["seq"], session["body"]) == (None, None, None)


def test_a_stable_reading_and_a_cylinder_have_columns_of_their_own(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(*every_event()))
    before, after = table(tmp_path, "stable_reading")
    assert (before["loss_pct"], after["loss_pct"], before["engine"], before["phase"]) == (
        12.5,
        6.0,
        "test-four",
        "as_found",
    )
    assert before["leak_area_mm2"] == pytest.approx(0.25)
    assert before["leak_diameter_mm"] == pytest.approx(0.56)
    assert before["flow_g_s"] == pytest.approx(0.4)
    assert before["flow_anr_l_min"] == pytest.approx(18.0)
    (result,) = table(tmp_path, "cylinder_result")
    assert (result["cylinder"], result["taps"], result["engine"]) == (2, 1, "test-four")
    assert (result["as_found_reading_id"], result["after_tap_reading_id"]) == (before["id"], after["id"])
    assert result["t_utc"] == "2026-01-01T00:00:20.000000Z"


def test_boot_board_and_calibration_are_kept(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(*every_event()))
    (boot,), (board,), (calibration,) = (table(tmp_path, name) for name in ("boot", "board", "calibration"))
    assert (boot["name"], boot["software"], json.loads(boot["config"])) == ("boot-1", "0.1.0", {"rate": 200})
    assert boot["started_utc"] <= boot["ended_utc"]
    assert (board["segment"], board["maker"], board["line_format"], board["rate_hz"]) == (1, "Garage", "framed", 200.0)
    assert (calibration["id"], calibration["supply_pa_per_v"]) == ("cal-1", CALIBRATION.supply.pa_per_v)


def test_a_reading_with_an_unknown_calibration_is_kept(tmp_path: Path) -> None:
    write(store(tmp_path, calibrations=[]), delivery(stable()))
    assert [row["origin"] for row in table(tmp_path, "calibration")] == ["not described"]
    assert len(table(tmp_path, "stable_reading")) == 1


def test_a_calibration_is_never_overwritten(tmp_path: Path) -> None:
    write(store(tmp_path))
    write(store(tmp_path, "boot-2"))
    with pytest.raises(ConfigError, match=r"cal-1 has other values"):
        write(store(tmp_path, "boot-3", calibrations=[replace(CALIBRATION, reference_v=4.9)]))
    assert [row["reference_v"] for row in table(tmp_path, "calibration")] == [5.0]
    write(store(tmp_path, "boot-3"))


@pytest.mark.parametrize(
    "odd",
    [
        Marked(1, 1.0, "note", "half a character \ud800", "operator"),
        Gap(1, np.float64(1.0), np.int64(5)),  # type: ignore[arg-type]
        Gap(np.int64(1), 1.0, 5),  # type: ignore[arg-type]
        BadLines(1, 1.0, {}, b""),
        replace(stable(), loss_pct=float("nan"), flow_kg_s=float("inf")),
        LinkChange(1, 1.0, True, "", None),
    ],
)
def test_odd_values_do_not_cost_an_event(tmp_path: Path, odd: Event) -> None:
    write(store(tmp_path, renderer=payloads), delivery(odd))
    (row,) = table(tmp_path, "event")
    json.loads(row["detail"])


@pytest.mark.parametrize("offset_s", [float("nan"), float("inf"), -1e12, 1e18])
def test_an_odd_clock_does_not_cost_an_event(tmp_path: Path, offset_s: float) -> None:
    write(store(tmp_path), delivery(samples(0, 5), readings(0, 1), Gap(1, 1.0, 5), offset_s=offset_s))
    (row,) = table(tmp_path, "event")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", row["t_utc"])


def test_an_event_that_cannot_be_told_is_stored_and_takes_no_number(tmp_path: Path) -> None:
    class Picky(PlainMessages):
        def event_body(self, event: Event, **context: object) -> tuple[str, str] | None:  # type: ignore[override]
            if isinstance(event, Gap):
                raise ValueError("no word for it")
            return super().event_body(event, **context)  # type: ignore[arg-type]

    made = write(store(tmp_path, renderer=Picky()), delivery(Gap(1, 1.0, 5), Marked(1, 2.0, "note", "", "board")))
    assert [(row["kind"], row["seq"]) for row in table(tmp_path, "event")] == [("gap", None), ("marked", 0)]
    assert [item.seq for item in made.outbox.pending(10)] == [0]


def test_the_real_messages_are_stored_as_they_will_be_sent(tmp_path: Path) -> None:
    write(store(tmp_path, renderer=None), delivery(*every_event()))
    found = table(tmp_path, "event")
    assert sum(row["body"] is not None for row in found) == len(every_event()) - 1
    for row in found:
        if row["body"] is not None:
            body = json.loads(row["body"])
            assert (body["boot"], body["bench"], body["seq"]) == ("boot-1", "bench-one", row["seq"])
            assert body["t"] == row["t_utc"]


# ---- what survives


def test_a_delivery_is_stored_whole_or_not_at_all(tmp_path: Path) -> None:
    made = store(tmp_path)
    late = delivery(Gap(1, 2.0, 7), Session(1, 2.5, "other", 1, "as_found", 3), stable())

    async def scene() -> None:
        await made.write(delivery(Gap(1, 1.0, 5), samples(0, 200), readings(0, 20)))
        blocker = sqlite3.connect(tmp_path / "bench.db")
        blocker.execute("BEGIN IMMEDIATE")
        with pytest.raises(StorageError, match="another program holds it"):
            await made.write(late)
        blocker.rollback()
        blocker.close()
        await made.write(late)

    import daq.sinks.store.connection as connection

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(connection, "BUSY_TIMEOUT_S", 0.01)
        within(made, scene)
    assert [(row["kind"], row["seq"]) for row in table(tmp_path, "event")] == [
        ("gap", 0), ("gap", 1), ("session", None), ("stable_reading", 0),
    ]  # fmt: skip


def test_a_full_disk_refuses_and_goes_on_when_there_is_room(tmp_path: Path) -> None:
    made = store(tmp_path)
    noise = np.random.default_rng(1).integers(0, 65536, (4, 20_000))
    heavy = delivery(Samples(1, np.arange(20_000) * 5000, *noise), Gap(1, 1.0, 5))

    async def scene() -> None:
        assert made._database is not None
        pages = made._executor.submit(lambda: _limit(made, 40)).result()  # type: ignore[union-attr]
        with pytest.raises(StorageError, match=r"disk is full.*\n.*\n.*as soon as there is room"):
            await made.write(heavy)
        assert table(tmp_path, "event") == []
        made._executor.submit(lambda: _limit(made, pages * 100)).result()  # type: ignore[union-attr]
        await made.write(heavy)

    within(made, scene)
    assert [row["seq"] for row in table(tmp_path, "event")] == [0]
    assert column(read(tmp_path), "t_us") == list(range(0, 100_000_000, 5000))


def _limit(made: Store, pages: int) -> int:
    """SQLite itself then says that the disk is full, as it does when the system tells it so."""
    assert made._database is not None
    return int(made._database.execute(f"PRAGMA max_page_count = {pages}").fetchone()[0])


def test_a_disk_that_is_really_full_refuses_and_goes_on(tmp_path: Path, child: Child) -> None:
    """The kernel's limit on the size of a file refuses in the middle of a write, as a full disk does."""
    script = """
import asyncio, resource, sys
from pathlib import Path
from daq.errors import StorageError
from tests.suites.deliveries import delivery, samples
from tests.unit.sinks.store_scenes import store
from daq.records import Gap

async def main():
    made = store(Path(sys.argv[1]))
    await made.open()
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, hard))
    refused = 0
    for number in range(300):
        if number == 200:
            resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
        try:
            await made.write(delivery(samples(number * 200, 200), Gap(1, float(number), 5)))
            print(number)
        except StorageError as error:
            refused += 1
    await made.close()
    print("refused", refused)

asyncio.run(main())
"""
    output, _ = child(script, tmp_path).communicate()
    *acknowledged, last = output.splitlines()
    assert 0 < int(last.split()[1]) < 200
    assert [int(row["t_s"]) for row in table(tmp_path, "event")] == list(map(int, acknowledged))
    assert rows(tmp_path, "PRAGMA integrity_check") == [("ok",)]


def test_a_killed_program_loses_nothing_that_was_acknowledged(tmp_path: Path, child: Child) -> None:
    script = """
import asyncio, sys
from pathlib import Path
from tests.suites.deliveries import delivery, readings, samples, stable
from tests.unit.sinks.store_scenes import store
from daq.records import Gap

async def main():
    made = store(Path(sys.argv[1]), sys.argv[2])
    await made.open()
    number = 0
    while True:
        await made.write(delivery(samples(number * 200, 200), readings(number, 20), Gap(1, float(number), 5)))
        print(number, flush=True)
        number += 1

asyncio.run(main())
"""
    for boot in ("first", "second", "third"):
        process = child(script, tmp_path, boot)
        assert process.stdout is not None
        acknowledged = [process.stdout.readline() for _ in range(130)]
        process.kill()
        acknowledged += process.stdout.readlines()
        process.wait()
        query = "SELECT t_s FROM event JOIN boot ON boot.id = boot_id WHERE boot.name = ? ORDER BY event.id"
        events = [int(t_s) for (t_s,) in rows(tmp_path, query, [boot])]
        assert events == list(range(len(events)))
        assert len(events) >= len(acknowledged) >= 130
        assert column(read(tmp_path, boot), "t_us") == list(range(0, len(events) * 1_000_000, 5000))
    assert rows(tmp_path, "PRAGMA integrity_check") == [("ok",)]
    made = store(tmp_path, "fourth")
    waiting = within(made, lambda: _pending(made))
    assert [item.body.split()[0] for item in waiting[:3]] == [f"bench-one/first/{seq}" for seq in range(3)]


async def _pending(made: Store) -> list[object]:
    return list(made.outbox.pending(1000))


def test_a_replay_goes_into_the_same_database_as_a_boot_of_its_own(tmp_path: Path) -> None:
    run = [delivery(samples(0, 200), readings(0.0, 20), *every_event())]
    write(store(tmp_path, "live"), *run)
    write(store(tmp_path, "replay", announce=False), *run)
    for name in ("reading", "stable_reading", "cylinder_result", "sample_block"):
        pairs = table(tmp_path, name)
        half = len(pairs) // 2
        differ = {"id", "boot_id", "test_id", "event_id", "as_found_reading_id", "after_tap_reading_id"}
        plain = [{key: value for key, value in row.items() if key not in differ} for row in pairs]
        assert plain[:half] == plain[half:] != []
    bodies = rows(tmp_path, "SELECT count(body) FROM event GROUP BY boot_id")
    assert bodies == [(len(every_event()) - 1,), (0,)]


def test_the_same_boot_twice_is_refused(tmp_path: Path) -> None:
    write(store(tmp_path))
    with pytest.raises(StorageError, match="boot-1 is already in the database"):
        write(store(tmp_path))


def test_writing_to_a_store_that_is_not_open_says_so(tmp_path: Path) -> None:
    made = store(tmp_path)
    with pytest.raises(StorageError, match="not open"):
        asyncio.run(made.write(delivery()))


def test_commits_are_synced_and_rules_are_on(tmp_path: Path) -> None:
    made = store(tmp_path)

    async def pragmas() -> list[object]:
        assert made._executor is not None
        names = ("journal_mode", "synchronous", "foreign_keys")
        return made._executor.submit(lambda: [_pragma(made, name) for name in names]).result()

    assert within(made, pragmas) == ["wal", 2, 1]
    strict = rows(
        tmp_path, "SELECT name FROM pragma_table_list WHERE strict = 0 AND schema = 'main' AND type = 'table'"
    )
    assert strict == [("sqlite_schema",)]


def _pragma(made: Store, name: str) -> object:
    assert made._database is not None
    return made._database.execute(f"PRAGMA {name}").fetchone()[0]


def test_utc_of_a_row_is_that_of_its_delivery(tmp_path: Path) -> None:
    early = Delivery((Gap(1, 1.0, 5),), {1: UTC_OFFSET_S})
    late = Delivery((Gap(1, 1.0, 5),), {1: UTC_OFFSET_S + 0.25})
    write(store(tmp_path), early, late)
    assert [row["t_utc"] for row in table(tmp_path, "event")] == [
        "2026-01-01T00:00:01.000000Z",
        "2026-01-01T00:00:01.250000Z",
    ]


def test_the_defaults_store_and_announce(tmp_path: Path) -> None:
    write(Store(tmp_path / "bench.db", Boot("b", "x")), delivery(*every_event()))
    assert len(table(tmp_path, "event")) == len(every_event())
