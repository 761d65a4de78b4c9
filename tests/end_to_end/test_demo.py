"""`boretight demo`: the whole job from one command, to its end and broken off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import psutil
import pytest

from daq.sinks.raw_log import read_raw_log
from daq.sinks.raw_log_reader import Ended
from tests.end_to_end.bench import PATIENCE_S, Bench
from tests.end_to_end.stored import measured, the_whole_engine

SPEED = 20


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Bench, str]]:
    """A demonstration that came to its end, and what it printed."""
    bench = Bench(tmp_path_factory.mktemp("demo"))
    done = bench.run("demo", "--speed", SPEED, "--folder", bench.storage, "--no-screen")
    assert (done.returncode, done.stderr) == (0, "")
    yield bench, done.stdout
    bench.close()


def test_the_cylinders_are_what_the_simulator_knows(finished: tuple[Bench, str]) -> None:
    bench, _ = finished
    the_whole_engine(bench.results())


def test_what_happened_on_the_way_is_stored(finished: tuple[Bench, str]) -> None:
    bench, _ = finished
    kinds = Counter(bench.kinds())
    assert (kinds["tap"], kinds["cylinder_done"], kinds["test_done"]) == (8, 4, 1)
    assert [kinds[fault] for fault in ("gap", "bad_lines", "restarted", "board_fault")] == [0, 0, 0, 0]
    supply = bench.rows("SELECT detail ->> 'state' AS state FROM event WHERE kind = 'supply_change' ORDER BY id")
    assert [row["state"] for row in supply] == ["held", "lost", "held"]


def test_it_ends_with_cautions_said_a_table_and_the_database(finished: tuple[Bench, str]) -> None:
    bench, said = finished
    assert said.index("take bar and socket off the crank") < said.index("Board on the line")
    table = said[said.rindex("as found   taps") :].splitlines()
    for result in bench.results():
        row = next(line for line in table if line.split()[:1] == [str(result["cylinder"])])
        assert f"{result['as_found_loss_at_set_pct']:.1f} +-" in row
        assert f"{result['after_tap_loss_at_set_pct']:.1f} %" in row
        assert ("improved" in row) == (result["cylinder"] == 4)
    assert said.endswith(f"Database: {bench.database}\n")


def test_its_raw_log_is_whole(finished: tuple[Bench, str]) -> None:
    bench, _ = finished
    _is_whole(bench)


def test_ctrl_c_in_a_terminal_ends_it_cleanly(bench: Bench) -> None:
    """Typed into the terminal, so that all that runs in its foreground gets it."""
    demo = bench.start_in_terminal("boretight", "demo", "--speed", SPEED, "--folder", bench.storage)
    demo.until(lambda: "stable_reading" in bench.kinds(), "a first reading")
    children = psutil.Process(demo.pid).children(recursive=True)
    assert len(children) == 2, "a board and a broker"
    before = measured(bench.database)["event"]
    demo.type(b"\x03")
    assert demo.process.wait(PATIENCE_S) == 0
    assert psutil.wait_procs(children, PATIENCE_S)[1] == []
    after = measured(bench.database)["event"]
    assert after[: len(before)] == before and after[-1]["kind"] == "link_change"
    assert bench.rows("PRAGMA integrity_check") == [{"integrity_check": "ok"}]
    assert bench.rows("SELECT * FROM boot WHERE ended_utc IS NULL") == []
    _is_whole(bench)
    assert all(word in demo.said for word in ("CYLINDER 1", "SUPPLY", "HELD", "█"))
    assert "Traceback" not in demo.said and str(bench.database) in demo.said.replace("\r\n", "")


def _is_whole(bench: Bench) -> None:
    (path,) = bench.raw_logs
    log = read_raw_log(path)
    assert list(log)
    assert (log.info.ended, log.info.complaints()) == (Ended.CLOSED, [])
