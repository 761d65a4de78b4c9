from __future__ import annotations

import errno
import gzip
import os
from dataclasses import replace
from pathlib import Path

import pytest

from daq.errors import DataError, StorageError, UsageError
from daq.records import Chunk, Input, LineFormat, LinkDown, LinkUp, Mark
from daq.sinks.raw_log import RawLogHeader, RawLogWriter, read_raw_log, write_raw_log
from daq.sinks.raw_log_format import MAGIC, RecordType, _record, encode_entry, encode_header
from daq.sinks.raw_log_reader import Ended
from tests.suites.deliveries import BOARD
from tests.unit.sinks.conftest import Child

HEADER = RawLogHeader("bench-one", "boot-1", software="0.1.0", config={"set_point_pa": 551580.6}, calibration={"id": 1})
NOON_S = 1_767_268_800.0  # 2026-01-01T12:00:00Z
UP = LinkUp(NOON_S, BOARD)
BARE = LinkUp(NOON_S, replace(BOARD, line_format=LineFormat.BARE))


def chunk(number: int) -> Chunk:
    return Chunk(NOON_S + number / 3, f"S,{number:04X}\n".encode() * 10)


def writer(folder: Path, **options: object) -> RawLogWriter:
    return RawLogWriter(folder, HEADER, now=lambda: NOON_S, **options)  # type: ignore[arg-type]


def write(path: Path, *items: Input) -> Path:
    write_raw_log(path, HEADER, items)
    return path


def open_files() -> int:
    return len(list(Path("/dev/fd").iterdir()))


class Disk:
    """Takes so many more bytes, then is full; the write that does not fit is torn, as on a real one."""

    def __init__(self, room: int) -> None:
        self.room = room

    def __call__(self, fd: int, data: bytes) -> int:
        if self.room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        done = os.write(fd, data[: self.room])
        self.room -= done
        return done


def test_what_was_appended_is_read_with_its_header(tmp_path: Path) -> None:
    log = writer(tmp_path / "new" / "folder")
    items = [UP, chunk(1), Mark(NOON_S + 1.1, "next"), chunk(2), LinkDown(NOON_S + 2, "unplugged")]
    for item in items:
        log.append(item)
    log.close()
    log.close()
    reader = read_raw_log(log.path)
    assert list(reader) == items
    assert reader.header == replace(HEADER, created_utc="2026-01-01T12:00:00.000000+00:00")
    assert (reader.info.ended, reader.info.complaints(), reader.info.inputs) == (Ended.CLOSED, [], 5)
    assert reader.bytes_read == reader.bytes_total == log.path.stat().st_size
    assert log.path.name == "20260101T120000Z-boot-1-0000.btlog"


def test_each_input_is_in_the_file_before_append_returns(tmp_path: Path) -> None:
    log = writer(tmp_path)
    for number in range(5):
        log.append(chunk(number))
        assert list(read_raw_log(log.path)) == [chunk(each) for each in range(number + 1)]
    assert read_raw_log(log.path).info.ended is Ended.OPEN
    log.close()


def test_a_killed_writer_loses_nothing_that_was_acknowledged(tmp_path: Path, child: Child) -> None:
    script = """
import sys
from pathlib import Path
from daq.records import Chunk
from daq.sinks.raw_log import RawLogHeader, RawLogWriter
log = RawLogWriter(Path(sys.argv[1]), RawLogHeader("b", sys.argv[2]), file_bytes=5_000, sync_each_s=0.01)
number = 0
while True:
    log.append(Chunk(float(number), b"%d\\n" % number * 20))
    sys.stdout.write(f"{number}\\n")
    sys.stdout.flush()
    number += 1
"""
    for attempt in range(3):
        process = child(script, tmp_path, attempt)
        assert process.stdout is not None
        acknowledged = [process.stdout.readline() for _ in range(200 + 331 * attempt)]
        process.kill()
        acknowledged += process.stdout.readlines()
        process.wait()
        reader = read_raw_log(min(tmp_path.glob(f"*-{attempt}-*")))
        numbers = [int(item.arrived_s) for item in reader if isinstance(item, Chunk)]
        assert numbers == list(range(len(numbers)))
        assert len(numbers) >= len(acknowledged) >= 200
        assert len(reader.info.files) > 1
        assert reader.info.ended in (Ended.OPEN, Ended.CUT)


def test_a_full_disk_is_told_once_counted_and_made_up_for(tmp_path: Path) -> None:
    disk = Disk(10_000)
    log = writer(tmp_path, write=disk)
    for item in (UP, chunk(1)):
        log.append(item)
    disk.room = 50
    with pytest.raises(StorageError, match=r"disk is full.*\n.*No space left.*\n.*as soon as there is room"):
        log.append(chunk(2))
    assert (log.fault, log.lost_inputs) == ("No space left on device", 1)
    for item in (chunk(3), Mark(NOON_S + 4, "next"), LinkDown(NOON_S + 5, "unplugged"), replace(UP, at_s=NOON_S + 6)):
        log.append(item)
    assert log.lost_inputs == 2
    disk.room = 10_000
    log.append(chunk(7))
    log.append(chunk(8))
    assert (log.fault, log.lost_inputs) == ("", 2)
    log.close()
    reader = read_raw_log(log.path)
    assert list(reader) == [
        UP,
        chunk(1),
        Mark(NOON_S + 4, "next"),
        LinkDown(NOON_S + 5, "unplugged"),
        replace(UP, at_s=NOON_S + 6),
        chunk(7),
        chunk(8),
    ]
    assert (reader.info.lost_inputs, reader.info.damaged, reader.info.ended) == (2, [], Ended.CLOSED)
    assert reader.info.complaints() == ["2 inputs could not be written when the log was made."]


def test_a_second_full_disk_is_told_again(tmp_path: Path) -> None:
    disk = Disk(10_000)
    log = writer(tmp_path, write=disk)
    for _ in range(2):
        disk.room = 0
        with pytest.raises(StorageError):
            log.append(chunk(1))
        disk.room = 10_000
        log.append(chunk(2))
    log.close()
    assert read_raw_log(log.path).info.lost_inputs == 0
    reader = read_raw_log(log.path)
    assert list(reader) == [chunk(2), chunk(2)]
    assert reader.info.lost_inputs == log.lost_inputs == 2


def test_what_is_lost_is_bounded_in_memory(tmp_path: Path) -> None:
    disk = Disk(10_000)
    log = writer(tmp_path, write=disk)
    disk.room = 0
    with pytest.raises(StorageError):
        log.append(chunk(0))
    for number in range(1000):
        log.append(Mark(NOON_S + number, "note", str(number)))
    disk.room = 1 << 20
    log.append(chunk(1))
    log.close()
    reader = read_raw_log(log.path)
    texts = [item.text for item in reader if isinstance(item, Mark)]
    assert texts == [str(number) for number in range(1000 - 256, 1000)]
    assert reader.info.lost_inputs == log.lost_inputs == 1 + 1000 - 256


def test_a_disk_that_is_full_at_the_end_closes_in_silence(tmp_path: Path) -> None:
    disk = Disk(10_000)
    log = writer(tmp_path, write=disk)
    log.append(chunk(1))
    disk.room = 5
    log.close()
    reader = read_raw_log(log.path)
    assert (list(reader), reader.info.ended) == ([chunk(1)], Ended.OPEN)


def test_a_real_limit_of_the_file_size_and_its_lifting(tmp_path: Path, child: Child) -> None:
    """The kernel itself refuses, in the middle of a record, as it does when a disk is full."""
    script = """
import resource, sys
from pathlib import Path
from daq.errors import StorageError
from daq.records import Chunk
from daq.sinks.raw_log import RawLogHeader, RawLogWriter
log = RawLogWriter(Path(sys.argv[1]), RawLogHeader("b", "c"))
_, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (5000, hard))
told = 0
for number in range(300):
    if number == 200:
        resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    try:
        log.append(Chunk(float(number), bytes(100)))
    except StorageError as error:
        told += 1
        assert "disk is full" in str(error), error
log.close()
print(told, log.lost_inputs, log.path)
"""
    output, _ = child(script, tmp_path).communicate()
    told, lost, path = output.split()
    reader = read_raw_log(Path(path))
    numbers = [int(item.arrived_s) for item in reader if isinstance(item, Chunk)]
    assert told == "1"
    assert numbers == [*range(200 - int(lost)), *range(200, 300)]
    assert 0 < reader.info.lost_inputs == int(lost) < 200
    assert (reader.info.damaged, reader.info.ended) == ([], Ended.CLOSED)


def test_a_folder_that_cannot_be_made_is_told_with_its_path(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StorageError, match="Cannot begin a raw log") as caught:
        writer(tmp_path / "file" / "logs")
    assert str(tmp_path / "file" / "logs") in caught.value.evidence


def test_a_disk_too_full_to_begin_leaves_no_file(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="disk is full"):
        writer(tmp_path, write=Disk(20))
    assert list(tmp_path.iterdir()) == []


def test_long_logs_go_on_in_further_files_and_read_as_one(tmp_path: Path) -> None:
    log = writer(tmp_path, file_bytes=2000)
    items: list[Input] = [UP, *map(chunk, range(100))]
    items[50:50] = [LinkDown(NOON_S, "gone"), replace(UP, at_s=NOON_S + 1)]
    for item in items:
        log.append(item)
    log.close()
    files = sorted(tmp_path.iterdir())
    assert len(files) > 3
    assert all(path.stat().st_size <= 2000 + 200 for path in files)
    reader = read_raw_log(files[0])
    assert list(reader) == items
    assert (reader.info.files, reader.info.complaints()) == (files, [])
    assert read_raw_log(files[1]).header.previous == files[0].name


def test_a_log_read_from_the_middle_begins_with_the_board(tmp_path: Path) -> None:
    log = writer(tmp_path, file_bytes=2000)
    for item in (UP, *map(chunk, range(30))):
        log.append(item)
    log.close()
    files = sorted(tmp_path.iterdir())
    from_second = list(read_raw_log(files[1]))
    assert from_second[0] == UP
    assert from_second[1:] == [chunk(number) for number in range(30 - len(from_second) + 1, 30)]


def test_a_writer_killed_before_the_first_record_of_a_further_file_did_not_close_it(tmp_path: Path) -> None:
    log = writer(tmp_path, file_bytes=2000)
    while len(list(tmp_path.iterdir())) < 2:
        log.append(chunk(1))
    log.close()
    first, second = sorted(tmp_path.iterdir())
    second.write_bytes(encode_header(read_raw_log(second).header))
    reader = read_raw_log(first)
    assert list(reader)
    assert reader.info.complaints() == [f"{second.name} was not closed: its writer was killed, or still runs."]


def test_a_missing_continuation_is_told_and_a_compressed_one_found(tmp_path: Path) -> None:
    log = writer(tmp_path, file_bytes=2000)
    for item in map(chunk, range(40)):
        log.append(item)
    log.close()
    first, second, third, *_ = sorted(tmp_path.iterdir())
    second.with_name(f"{second.name}.gz").write_bytes(gzip.compress(second.read_bytes()))
    second.unlink()
    third.unlink()
    reader = read_raw_log(first)
    count = len(list(reader))
    assert [path.name for path in reader.info.files] == [first.name, f"{second.name}.gz"]
    assert 0 < count < 40
    assert reader.info.complaints() == [f"The log goes on in {third.name}, which is not beside it."]


def test_while_no_new_file_can_be_made_the_old_one_goes_on(tmp_path: Path) -> None:
    log = writer(tmp_path, file_bytes=2000)
    (tmp_path / log.path.name.replace("-0000", "-0001")).write_text("in the way")
    for item in map(chunk, range(60)):
        log.append(item)
    log.close()
    assert list(read_raw_log(log.path)) == [chunk(number) for number in range(60)]


def test_the_oldest_files_are_deleted(tmp_path: Path) -> None:
    old = [tmp_path / f"2025010{day}T000000Z-old-0000.btlog" for day in (1, 2, 3)]
    for path in old:
        path.write_bytes(bytes(3000))
    other = tmp_path / "notes.txt"
    other.write_text("not a log")
    log = writer(tmp_path, file_bytes=2000, keep_bytes=8000)
    assert [path.exists() for path in old] == [False, True, True]
    for item in map(chunk, range(200)):
        log.append(item)
    log.close()
    logs = list(tmp_path.glob("*.btlog"))
    assert sum(path.stat().st_size for path in logs) <= 8000 + 200
    assert not any(path.exists() for path in old)
    assert other.exists()
    assert log.path in logs


def test_syncing_in_the_thread_reaches_the_disk_and_reports_a_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import threading

    from daq.sinks import raw_log_sync

    synced, broken = threading.Semaphore(0), threading.Event()

    def sync(fd: int) -> None:
        os.fstat(fd)
        synced.release()
        if broken.is_set():
            raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(raw_log_sync, "sync_data", sync)
    log = writer(tmp_path, sync_each_s=0.001)
    for number in range(3):
        log.append(chunk(number))
        synced.acquire()
    assert log.fault == ""
    broken.set()
    while not log.fault:
        log.append(chunk(4))
    assert "Input/output error" in log.fault
    with pytest.raises(StorageError, match="Cannot sync the raw log"):
        log.sync()
    broken.clear()
    while log.fault:
        log.append(chunk(5))
    log.close()


def test_files_that_were_left_are_synced_and_closed(tmp_path: Path) -> None:
    log = writer(tmp_path, file_bytes=2000, sync_each_s=None)
    before = open_files()
    for item in map(chunk, range(100)):
        log.append(item)
    log.sync()
    log.sync()
    assert open_files() == before
    log.close()
    assert open_files() == before - 1


@pytest.mark.parametrize("content", [b"S,0001,12,34*ABCD\n", b"\xff\xfe\x00", b"SQLite format 3\x00" + bytes(100)])
def test_another_file_is_refused_with_its_first_bytes(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.btlog"
    path.write_bytes(content)
    with pytest.raises(DataError, match="no raw log") as caught:
        read_raw_log(path)
    assert repr(content[:24]) in caught.value.evidence


def test_an_empty_file_is_no_raw_log(tmp_path: Path) -> None:
    path = tmp_path / "x.btlog"
    path.write_bytes(b"")
    with pytest.raises(DataError, match="no raw log") as caught:
        read_raw_log(path)
    assert caught.value.evidence == "it is empty"


def test_a_transfer_in_text_mode_is_recognised(tmp_path: Path) -> None:
    path = write(tmp_path / "x.btlog", chunk(1))
    path.write_bytes(path.read_bytes().replace(b"\r\n", b"\n"))
    with pytest.raises(DataError, match="text mode"):
        read_raw_log(path)


def test_no_file_and_a_folder_are_a_mistake_of_the_command(tmp_path: Path) -> None:
    for path in (tmp_path / "none.btlog", tmp_path):
        with pytest.raises(UsageError, match="There is no file"):
            read_raw_log(path)


def test_a_newer_version_is_named(tmp_path: Path) -> None:
    path = write(tmp_path / "x.btlog", chunk(1))
    content = bytearray(path.read_bytes())
    content[len(MAGIC)] = 2
    path.write_bytes(content)
    with pytest.raises(DataError, match="version 2 of the format; this program reads 1"):
        read_raw_log(path)


def test_a_cut_log_gives_all_before_the_cut_and_says_where(tmp_path: Path) -> None:
    path = write(tmp_path / "x.btlog", chunk(1), chunk(2), chunk(3))
    at = path.read_bytes().index(encode_entry(chunk(3)))
    path.write_bytes(path.read_bytes()[: at + 30])
    reader = read_raw_log(path)
    assert list(reader) == [chunk(1), chunk(2)]
    assert reader.info.complaints() == [f"x.btlog is cut at byte {at}; all before that was read."]


def test_a_log_cut_in_its_header_is_read_as_empty(tmp_path: Path) -> None:
    path = write(tmp_path / "x.btlog", chunk(1))
    path.write_bytes(path.read_bytes()[:40])
    reader = read_raw_log(path)
    assert (list(reader), reader.header) == ([], RawLogHeader())
    assert reader.info.complaints() == ["x.btlog is cut at byte 8; all before that was read."]
    path.write_bytes(path.read_bytes()[:10])
    with pytest.raises(DataError, match="cut before it begins"):
        read_raw_log(path)


def test_behind_a_damaged_header_the_records_are_found(tmp_path: Path) -> None:
    path = write(tmp_path / "x.btlog", chunk(1), chunk(2))
    content = bytearray(path.read_bytes())
    content[30] ^= 0xFF
    path.write_bytes(content)
    reader = read_raw_log(path)
    assert list(reader) == [chunk(1), chunk(2)]
    assert len(reader.info.damaged) == 1


def test_zeros_at_the_end_as_after_a_power_cut_are_a_cut(tmp_path: Path) -> None:
    path = write(tmp_path / "x.btlog", chunk(1))
    size = path.stat().st_size
    path.write_bytes(path.read_bytes() + bytes(3_000_000))
    reader = read_raw_log(path)
    assert (list(reader), reader.info.ended, reader.info.cut_at) == ([chunk(1)], Ended.CUT, size)


def test_a_compressed_log_that_is_cut_gives_what_there_is(tmp_path: Path) -> None:
    path = tmp_path / "x.btlog.gz"
    items = [Chunk(float(number), os.urandom(500)) for number in range(200)]
    write(path, *items)
    path.write_bytes(path.read_bytes()[:50_000])
    reader = read_raw_log(path)
    read = list(reader)
    assert 80 < len(read) < 100
    assert read == items[: len(read)]
    assert reader.info.ended is Ended.CUT


def test_a_compressed_log_in_a_file_without_the_name_is_recognised(tmp_path: Path) -> None:
    path = write(tmp_path / "x.btlog.gz", chunk(1)).rename(tmp_path / "x.btlog")
    assert list(read_raw_log(path)) == [chunk(1)]


def test_records_of_a_later_kind_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "x.btlog"
    later = _record(99, 1.0, b"?") + _record(RecordType.MARK, 1.0, b'{"other": 1}')  # type: ignore[arg-type]
    path.write_bytes(encode_header(HEADER) + encode_entry(chunk(1)) + later + encode_entry(chunk(2)))
    reader = read_raw_log(path)
    assert (list(reader), reader.info.damaged) == ([chunk(1), chunk(2)], [])


@pytest.mark.parametrize(("up", "extra"), [(BARE, 2), (UP, 0)])
def test_only_a_bare_board_begins_anew_where_bytes_are_missing(tmp_path: Path, up: LinkUp, extra: int) -> None:
    path = write(tmp_path / "x.btlog", up, chunk(1), chunk(2), chunk(3))
    broken = bytearray(encode_entry(chunk(2)))
    broken[20] ^= 1
    path.write_bytes(path.read_bytes().replace(encode_entry(chunk(2)), broken))
    items = list(read_raw_log(path))
    assert len(items) == 3 + extra
    if extra:
        assert items[2:4] == [
            LinkDown(chunk(1).arrived_s, "the raw log is damaged here"),
            LinkUp(chunk(1).arrived_s, up.board),
        ]


def test_a_log_is_not_there_until_it_is_complete(tmp_path: Path) -> None:
    def interrupted() -> object:
        yield chunk(1)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_raw_log(tmp_path / "x.btlog", HEADER, interrupted())  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_the_same_inputs_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.btlog", "a.btlog.gz"):
        first = write(tmp_path / name, UP, chunk(1)).read_bytes()
        assert write(tmp_path / f"b{name}", UP, chunk(1)).read_bytes() == first


def test_a_program_that_stands_still_is_not_needed_to_read(tmp_path: Path) -> None:
    """Reading while the writer goes on sees whole records only."""
    log = writer(tmp_path)
    log.append(chunk(1))
    reading = iter(read_raw_log(log.path))
    assert next(reading) == chunk(1)
    log.append(chunk(2))
    log.close()
    assert list(read_raw_log(log.path)) == [chunk(1), chunk(2)]
