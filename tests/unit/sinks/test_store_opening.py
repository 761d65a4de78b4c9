from __future__ import annotations

import asyncio
import hashlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from daq.errors import StorageError, UsageError
from daq.records import Gap
from daq.sinks.store import connection, migrations, open_readonly
from daq.sinks.store.database import Database
from daq.sinks.store.migrations import APPLICATION_ID, SCHEMA_VERSION, STEPS, bring_up_to_date
from tests.suites.deliveries import delivery, samples
from tests.unit.sinks.conftest import Child
from tests.unit.sinks.store_scenes import change, rows, store, table, within, write


def content(folder: Path) -> dict[str, str]:
    """The files of a folder but the lock, by what is in them."""
    files = [path for path in folder.iterdir() if path.suffix != ".lock"]
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_a_new_database_has_the_newest_schema_and_says_whose_it_is(tmp_path: Path) -> None:
    write(store(tmp_path / "new" / "folder"))
    assert rows(tmp_path / "new" / "folder", "PRAGMA user_version") == [(SCHEMA_VERSION,)]
    assert rows(tmp_path / "new" / "folder", "PRAGMA application_id") == [(APPLICATION_ID,)]


def schema(path: Path) -> set[tuple[str, str]]:
    with closing(sqlite3.connect(path)) as database:
        return set(database.execute("SELECT name, sql FROM sqlite_schema WHERE name NOT LIKE '_sqlite_migrations%'"))


@pytest.mark.parametrize("made", range(SCHEMA_VERSION))
def test_each_older_database_gets_the_steps_that_are_missing(tmp_path: Path, made: int) -> None:
    """Also one with the book of steps that was kept in it before `user_version` was it."""
    old, new = tmp_path / "bench.db", tmp_path / "new"
    with closing(sqlite3.connect(old)) as database:
        database.execute("CREATE TABLE _sqlite_migrations (id INTEGER PRIMARY KEY, name TEXT)")
        database.executescript(";".join((*STEPS[:made], f"PRAGMA user_version = {made}")))
        database.execute(f"PRAGMA application_id = {APPLICATION_ID if made else 0}")
    write(store(tmp_path), delivery(Gap(1, 1.0, 5)))
    write(store(new), delivery(Gap(1, 1.0, 5)))
    assert rows(tmp_path, "PRAGMA user_version") == [(SCHEMA_VERSION,)]
    assert schema(old) == schema(new / "bench.db")


def test_a_step_is_made_whole_or_not_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    database = Database(sqlite3.connect(":memory:"))
    monkeypatch.setattr(migrations, "STEPS", (*STEPS, "CREATE TABLE more (a);\nCREATE TABLE more (b)"))
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        bring_up_to_date(database)
    assert database.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    assert not list(database.query("SELECT name FROM sqlite_schema WHERE name = 'more'"))


def test_an_empty_file_becomes_a_database(tmp_path: Path) -> None:
    (tmp_path / "bench.db").touch()
    write(store(tmp_path), delivery(Gap(1, 1.0, 5)))
    assert len(table(tmp_path, "event")) == 1


def test_a_newer_database_is_left_as_it_is(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(Gap(1, 1.0, 5)))
    change(tmp_path, f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    before = content(tmp_path)
    for attempt in (lambda: write(store(tmp_path, "boot-2")), lambda: open_readonly(tmp_path / "bench.db")):
        with pytest.raises(
            StorageError, match=r"written by a newer boretight: schema 3, this program knows 2.\n.*Update"
        ):
            attempt()
    assert content(tmp_path) == before


def test_a_database_of_another_program_is_left_as_it_is(tmp_path: Path) -> None:
    change(tmp_path, "CREATE TABLE recipes (name TEXT)")
    before = content(tmp_path)
    with pytest.raises(StorageError, match=r"database of another program.\nSeen: its tables: recipes"):
        write(store(tmp_path))
    assert content(tmp_path) == before


@pytest.mark.parametrize("text", [b"t_s,loss_pct\n1.0,12.5\n" * 100, bytes(range(256)) * 20])
def test_a_file_that_is_no_database_is_left_as_it_is(tmp_path: Path, text: bytes) -> None:
    (tmp_path / "bench.db").write_bytes(text)
    with pytest.raises(StorageError, match="no SQLite database"):
        write(store(tmp_path))
    assert (tmp_path / "bench.db").read_bytes() == text
    with pytest.raises(StorageError, match="no SQLite database"):
        open_readonly(tmp_path / "bench.db")


def test_a_damaged_database_says_what_to_do(tmp_path: Path) -> None:
    write(store(tmp_path), delivery(samples(0, 50_000), *[Gap(1, float(number), 5) for number in range(500)]))
    path = tmp_path / "bench.db"
    whole = path.read_bytes()
    path.write_bytes(whole[:100] + bytes(8000) + whole[8100:])
    with pytest.raises(StorageError, match=r"it is damaged.\n.*\n.*raw logs"):
        write(store(tmp_path, "boot-2"), delivery(Gap(1, 1.0, 5)))


def test_a_folder_in_the_place_of_the_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "bench.db").mkdir()
    with pytest.raises(StorageError, match="is a folder, not a database"):
        write(store(tmp_path))


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StorageError, match="Cannot make the folder of the database"):
        write(store(tmp_path / "file" / "data"))


@pytest.fixture
def readable_only() -> Iterator[Path]:
    """A folder with a database that nobody but its owner may write, where every user can reach it."""
    folder = Path(tempfile.mkdtemp())
    write(store(folder), delivery(Gap(1, 1.0, 5)))
    for path in (*folder.iterdir(), folder):
        path.chmod(0o555 if path.is_dir() else 0o444)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_without_the_right_to_write_it_says_so_and_readers_read(readable_only: Path, child: Child) -> None:
    """A user without rights: root gives its own up."""
    script = """
import os, sys
from pathlib import Path
from daq.errors import StorageError
from daq.sinks.store import migrations, open_readonly
from tests.unit.sinks.store_scenes import change, store, write
if os.getuid() == 0:
    os.setuid(65534)
folder = Path(sys.argv[1])
print(open_readonly(folder / "bench.db").execute("SELECT count(*) FROM event").fetchone()[0])
for attempt in ("new", "bench"):
    path = folder / f"{attempt}.db"
    made = store(folder, "boot-2")
    made.path = path
    try:
        write(made)
    except StorageError as error:
        print(str(error).replace("\\n", " "))
"""
    output, _ = child(script, readable_only).communicate()
    count, new, old = output.splitlines()
    assert count == "1"
    for said in (new, old):
        assert "writing there is not allowed" in said
        assert "Give the user that runs boretight the right to write there" in said


def test_a_second_daemon_is_kept_out_and_told_by_whom(tmp_path: Path) -> None:
    made = store(tmp_path)

    async def second() -> None:
        with pytest.raises(StorageError, match="in use by another boretight") as caught:
            await store(tmp_path, "boot-2").open()
        assert caught.value.evidence.startswith("bench bench-one on ")
        assert caught.value.evidence.endswith(f"process {os.getpid()}")

    within(made, second)
    write(store(tmp_path, "boot-2"))


def test_a_daemon_in_another_process_is_noticed_and_its_death_too(tmp_path: Path, child: Child) -> None:
    script = """
import asyncio, sys
from pathlib import Path
from tests.unit.sinks.store_scenes import change, store

async def main():
    await store(Path(sys.argv[1])).open()
    print("open", flush=True)
    await asyncio.Event().wait()

asyncio.run(main())
"""
    process = child(script, tmp_path)
    assert process.stdout is not None
    assert process.stdout.readline() == "open\n"
    with pytest.raises(StorageError, match=f"process {process.pid}"):
        write(store(tmp_path, "boot-2"))
    process.kill()
    process.wait()
    write(store(tmp_path, "boot-2"))


def test_a_program_that_holds_the_database_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "BUSY_TIMEOUT_S", 0.01)
    write(store(tmp_path))
    holder = sqlite3.connect(tmp_path / "bench.db")
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(StorageError, match=r"another program holds it.\n.*\n.*Close the program"):
        write(store(tmp_path, "boot-2"))
    holder.close()
    write(store(tmp_path, "boot-2"))


def test_an_old_library_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 36, 0))
    with pytest.raises(StorageError, match=r"SQLite 3.37.0 or newer is needed"):
        write(store(tmp_path))


def test_our_own_mistakes_are_not_blamed_on_the_disk(tmp_path: Path) -> None:
    with pytest.raises(sqlite3.ProgrammingError), connection.database_errors(tmp_path, "read"):
        sqlite3.connect(":memory:").execute("SELECT ?", [])
    with pytest.raises(sqlite3.OperationalError), connection.database_errors(tmp_path, "read"):
        sqlite3.connect(":memory:").execute("SELECT nothing")


def test_there_is_nothing_to_read(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="There is no database"):
        open_readonly(tmp_path / "none.db")


def test_readers_read_while_the_daemon_writes_and_cannot_write(tmp_path: Path) -> None:
    made = store(tmp_path)

    async def scene() -> None:
        await made.write(delivery(Gap(1, 1.0, 5)))
        reader = open_readonly(tmp_path / "bench.db")
        assert reader.execute("SELECT count(*) FROM event").fetchone() == (1,)
        await made.write(delivery(Gap(1, 2.0, 5)))
        assert reader.execute("SELECT count(*) FROM event").fetchone() == (2,)
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            reader.execute("DELETE FROM event")
        reader.close()

    within(made, scene)


def test_a_failed_opening_gives_the_lock_back(tmp_path: Path) -> None:
    change(tmp_path, "CREATE TABLE recipes (name TEXT)")
    for _ in range(2):
        with pytest.raises(StorageError, match="another program"):
            asyncio.run(store(tmp_path).open())
